"""Hidden cars: what is wrong with them, and what their owners complain of."""
