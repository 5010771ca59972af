"""Numbers to documents: the summary of a session as plain data, and as tables."""
