"""What a reading is worth before it is taken."""
