"""What the reader has to say about a score: the line that refuses it, or problems put up with."""

from __future__ import annotations

from engine.arrangement import Problem
from engine.errors import ScoreError
from engine.read.limits import MAX_PROBLEMS


class Report:
    """Collects the problems of one file under the name the user gave it."""

    def __init__(self, path: str) -> None:
        self.path = path
        self._problems: list[Problem] = []
        self._unlisted = 0

    def refusal(self, what: str, hint: str = "", bar: str = "") -> ScoreError:
        """The error that ends the reading, to be raised."""
        return ScoreError(self.path, bar, what, hint)

    def put_up_with(self, bar: str, what: str, hint: str = "") -> None:
        """Note something odd that does not stop the reading; the same thing is noted once."""
        problem = Problem(bar, what, hint)
        if problem in self._problems:
            return
        if len(self._problems) < MAX_PROBLEMS:
            self._problems.append(problem)
        else:
            self._unlisted += 1

    @property
    def problems(self) -> tuple[Problem, ...]:
        """All that was noted, in the order it was met."""
        if not self._unlisted:
            return tuple(self._problems)
        more = Problem("", f"{self._unlisted} more problems are not listed")
        return (*self._problems, more)
