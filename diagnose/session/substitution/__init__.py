"""Leads added, parts exchanged or taken off for a test, and where it hurts."""
