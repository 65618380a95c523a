"""An audit: what is wrong with a car by design, before any fault."""
