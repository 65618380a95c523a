"""What closed cases say about the published fault rates."""
