"""What to do now: measure on, mend, prove a repair, doubt a fact, or stop."""
