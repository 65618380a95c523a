"""Readings on paper: what every test point should read, what to read at the start."""
