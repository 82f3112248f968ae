"""Floor 4: figures, sheets and documents, the only place with charts and PDF."""
