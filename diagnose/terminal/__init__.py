"""The faces of a diagnosis: screen, plain lines, JSON lines."""
