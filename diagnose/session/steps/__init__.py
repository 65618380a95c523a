"""The next step: what each would show, what it takes, and which pays best."""
