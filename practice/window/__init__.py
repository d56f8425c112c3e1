"""The pygame screens: a pure function from a snapshot to drawing operations, a thin painter."""

from practice.window.screen import run_window

__all__ = ["run_window"]
