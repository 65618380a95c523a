"""Worked cases and closed cases, from and to text."""
