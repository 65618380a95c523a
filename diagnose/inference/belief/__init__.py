"""Fault sets with what they would show, and what facts leave to believe."""
