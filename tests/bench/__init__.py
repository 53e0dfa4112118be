"""Measurements: functions that return figures, and the program that prints them."""
