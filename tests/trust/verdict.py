"""One line of the table: a fault, how often it was tried, survived, and what was lost."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Verdict:
    """What came of making one fault many times.

    Attributes:
        fault: what was done. tried, survived: how often.
        lost: the worst of what was lost, in words; "nothing" where nothing was.
    """

    fault: str
    tried: int
    survived: int
    lost: str = "nothing"

    @property
    def passed(self) -> bool:
        """Every try was survived."""
        return self.tried > 0 and self.survived == self.tried


def table(verdicts: list[Verdict]) -> str:
    """The verdicts as aligned text."""
    width = max([len("fault"), *(len(v.fault) for v in verdicts)])
    lines = [f"{'fault':{width}}  {'tried':>8}  {'survived':>8}  lost"]
    lines += [f"{v.fault:{width}}  {v.tried:8d}  {v.survived:8d}  {v.lost}" for v in verdicts]
    return "\n".join(lines)
