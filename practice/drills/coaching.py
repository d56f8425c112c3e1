"""Whose word counts: the coach of the drill that runs now, and those of the drills before it.

The player may choose another drill while the last pass is still being judged. Every drill of a
sitting has a number, every pass the number of the drill it was played in; what came of a pass goes
to that drill's coach, and only the newest coach is asked what is next. The session for its part
takes no word from a drill before its own.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from engine.arrangement import Arrangement
from practice.drills.coach import Coach
from practice.snapshot import Command, PassRecord

#: A chosen drill comes as a command of this kind, see `begin`.
CHOSEN = "drill-sheet"
SCORE_CHANGED = "The score was saved anew meanwhile: choose the drill again"
LEFT = "The drill is left: what you chose holds now"
NONE_RUNS = "No drill is under way"


class Coaching:
    """The coaches of one sitting, one after the other. May be called from several threads.

    Args:
        coach: of the drill the sitting begins with, None where it begins with none.
        tell: takes a command for the session.
    """

    def __init__(self, coach: Coach | None, tell: Callable[[Command], None]) -> None:
        self._coaches: dict[int, Coach] = {} if coach is None else {0: coach}
        self._newest = 0
        self._runs = coach is not None
        self._tell = tell

    @property
    def log(self) -> list[dict[str, Any]]:
        """What was asked and how it went, drill after drill."""
        return [row for number in sorted(self._coaches) for row in self._coaches[number].log]

    def begin(self, command: Command, arrangement: Arrangement) -> str:
        """Begin the drill of extra["sheet"] at extra["places"], found in extra["arrangement"];
        why it was not begun, "" where it was. `arrangement` is what is practised now."""
        if command.extra["arrangement"] is not arrangement:
            return SCORE_CHANGED
        number = self._newest + 1
        coach = Coach(command.extra["sheet"], arrangement, command.extra["places"], number)
        self._coaches[number], self._newest, self._runs = coach, number, True
        self._tell(Command("drill", extra={"drill": coach.drill}))
        return ""

    def skip(self) -> str:
        """On to the next task of the drill that runs; a line where none does."""
        if not self._runs:
            return NONE_RUNS
        self._tell(self._coaches[self._newest].skip())
        return ""

    def leave(self) -> str:
        """The player chose for themselves, and the session hears the coach no longer; the line that
        says so, the first time."""
        left, self._runs = LEFT if self._runs else "", False
        return left

    def judged(self, number: int, record: PassRecord) -> None:
        """What a pass of that drill came to."""
        if coach := self._coaches.get(number):
            self._answer(number, coach.judged(record))

    def unjudged(self, number: int, why: str) -> None:
        """A pass of that drill could not be judged."""
        if coach := self._coaches.get(number):
            self._answer(number, coach.unjudged(why))

    def _answer(self, number: int, command: Command) -> None:
        """A word that was overtaken on its way here is stopped by the session."""
        if number == self._newest:
            self._tell(command)
