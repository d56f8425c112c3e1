"""The pygame screens: a pure function from a snapshot to drawing operations, a thin painter."""
