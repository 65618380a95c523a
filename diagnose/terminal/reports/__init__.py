"""Lists and tables that a command prints and ends."""
