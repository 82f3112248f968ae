"""Floor 3: ballots as people hand them in, read, checked and counted."""
