"""What a conclusion implies: what to mend, what is seen next, what was a mistake."""
