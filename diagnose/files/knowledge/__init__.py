"""The folder knowledge/ as one record, or every problem in it."""
