"""The take store: raw events, passes and sections in one SQLite file."""
