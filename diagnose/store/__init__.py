"""The case store: every fact kept before its answer is shown."""
