"""What a typed line means: the commands, the names they take, and what is asked for."""
