"""What scores and ranks of a trained panel say about the samples, and about the panel."""
