"""The pygame screens: a pure function from a snapshot to drawing operations, a thin painter.

`run_window` is in `practice.window.screen`; nothing here imports it, so that the parts without
pygame (the ledger's words, the views) can be used where no window is wanted.
"""
