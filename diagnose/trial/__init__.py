"""Trials: hidden faults, simulated owners, and what the diagnosis makes of them."""
