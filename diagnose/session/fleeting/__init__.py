"""Faults that come and go: bringing them on purpose, and what an owner saw of them."""
