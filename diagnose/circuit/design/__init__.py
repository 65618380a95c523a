"""What a car is like by design, before any fault: reach of a fuse, currents, sizes."""
