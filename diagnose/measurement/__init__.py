"""What can be measured or noticed, with what meter, at which test point."""
