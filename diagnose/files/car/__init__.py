"""A car file as a car, or every problem in it."""
