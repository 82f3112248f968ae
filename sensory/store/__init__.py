"""Floor 4: the record, the only place that knows SQLAlchemy."""
