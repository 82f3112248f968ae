"""Products, references and batches: rule, tastings, disposition, trend and month."""
