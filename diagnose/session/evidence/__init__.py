"""From facts to beliefs."""
