"""How well causes explain one thing seen: fit, scatter and slips of readings."""
