"""From the entries of a car file to parts with terminals, values and nodes."""
