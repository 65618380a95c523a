"""Trials for a reader: played here or on a cluster, as tables and as JSON."""
