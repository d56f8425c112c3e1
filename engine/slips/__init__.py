"""Slips called by their names: what a wrong, extra or missing note most likely was."""

from engine.slips.count import count_slips
from engine.slips.kinds import KINDS
from engine.slips.name import name_slips

__all__ = ["KINDS", "count_slips", "name_slips"]
