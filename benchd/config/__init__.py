"""Bench cards and dough cards: read once, checked, then frozen."""
