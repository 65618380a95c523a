"""Writes car files: new ones, and lines added to one without touching the rest."""
