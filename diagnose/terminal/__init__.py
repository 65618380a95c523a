"""What a person or another program sees: dialogues, listings, and how both look."""
