"""Faults made on purpose, many times over: `python -m tests.trust` prints what was survived."""
