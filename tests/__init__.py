"""Tests, laid out as the code they test."""
