"""Asks how a car is wired, and what follows from the answers; knows no screen."""
