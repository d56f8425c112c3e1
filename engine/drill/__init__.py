"""The drill: what to play next, and why, from how it went so far. Pure state machines."""

from engine.drill.next_pass import NextPass, next_pass
from engine.drill.sheet import DrillSheet, Ladder, PassResult

__all__ = ["DrillSheet", "Ladder", "NextPass", "PassResult", "next_pass"]
