"""Floor 1: mathematics only, arrays in and arrays out."""
