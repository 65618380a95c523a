"""Files in, records out: car files, knowledge, worked cases."""
