"""Journal, replay, import and export: what goes to disk and what comes back. The format is written in FORMAT.md."""
