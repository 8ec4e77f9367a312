"""A hand's folder on disk: records, captures, decisions, locking."""
