"""Where the leads of a meter or a test lamp may be put, and where it is worth it."""
