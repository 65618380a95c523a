"""What a typed line means, and the conversation that answers it with pages."""
