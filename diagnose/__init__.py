"""Fault diagnosis for circuits added to older cars."""

__version__ = "0.1.0"
