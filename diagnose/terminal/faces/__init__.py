"""The faces of a diagnosis: a screen, plain lines, lines of JSON."""
