"""The ranking in words: what speaks for a cause, what brought it about."""
