"""What is shown: pages as records, their words, and the two ways to draw them."""
