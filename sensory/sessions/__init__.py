"""Sessions: what is agreed, served, answered, closed and found."""
