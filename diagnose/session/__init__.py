"""A diagnosis as a state machine: facts in, ranking and next step out."""
