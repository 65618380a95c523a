"""What was answered, as the entries of a car file."""
