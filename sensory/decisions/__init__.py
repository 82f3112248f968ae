"""Floor 3: what a session shows, in words and with what it cannot tell."""
