"""What a command needs before it begins: the car, kept cases, the owner's limits."""
