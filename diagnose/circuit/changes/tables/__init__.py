"""Tables of how branches act on nodes, as much of them as is asked for."""
