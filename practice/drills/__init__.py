"""Drills on disk and at the keyboard; what to play next is decided by `engine.drill`."""
