"""Floor 2: who gets which samples in which order, under which codes."""
