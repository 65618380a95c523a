"""What is believed of the causes before a fact is told."""
