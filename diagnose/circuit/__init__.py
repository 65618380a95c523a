"""The car as a circuit, and its operating point in every state."""
