"""From state to state: gates begin as the state before left them."""
