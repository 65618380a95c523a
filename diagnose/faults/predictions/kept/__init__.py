"""What every single fault shows, kept as its difference from the sound car."""
