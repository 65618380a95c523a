"""Lists of readings that need no diagnosis."""
