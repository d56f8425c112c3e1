"""The page read back: what it says, and what on it looks like an error of notation."""

from engine.proof.compare import Change, compare_pages
from engine.proof.find import find_remarks
from engine.proof.hands import Reach
from engine.proof.remark import KINDS, Remark

__all__ = ["KINDS", "Change", "Reach", "Remark", "compare_pages", "find_remarks"]
