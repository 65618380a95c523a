"""Asks at a terminal how a car is wired, and writes its file."""
