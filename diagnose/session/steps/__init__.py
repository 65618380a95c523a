"""What could be done next, priced and ranked."""
