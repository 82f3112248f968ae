"""Floor 2: forced-choice tests, their counts, sizes and risks."""
