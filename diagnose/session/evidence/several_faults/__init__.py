"""Several faults at once, and how severe they are: which are worth solving."""
