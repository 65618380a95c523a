"""What every reading is under a fault set: solved, with what it overloads, and kept."""
