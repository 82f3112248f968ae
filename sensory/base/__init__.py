"""Floor 0: errors, checks, results and the nouns of the job. Standard library and numpy only."""
