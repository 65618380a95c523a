"""Which steps are proposed, in what order, and with all a person needs to take them."""
