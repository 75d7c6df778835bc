"""report: results in, words and pictures out. Never runs an engine."""
