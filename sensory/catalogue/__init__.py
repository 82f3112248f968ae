"""One entry a test: how it is named, asked, served, answered, checked and read."""
