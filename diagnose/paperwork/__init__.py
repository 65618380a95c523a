"""A car on paper: its file asked for, its design audited, its wiring drawn."""
