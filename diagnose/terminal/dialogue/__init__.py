"""A diagnosis at a screen, in plain lines and in lines of JSON."""
