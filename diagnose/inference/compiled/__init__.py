"""One car compiled for diagnosis: fault sets with what they would show."""
