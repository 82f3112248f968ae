"""Floor 5: one page a file. A page takes input, calls the workflow, shows what came back."""
