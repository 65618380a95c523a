"""What follows from the facts, in words: suspects, fit, doubts, and their origins."""
