"""The operating point of a network: where its segments and gates rest."""
