"""What the session needs of a follower, so that a test can hand in another."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from engine.arrangement import Arrangement, Hands, Span
from engine.findings import Finding
from engine.performance import PlayedNote


class FollowsNotes(Protocol):
    """See `engine.follow.Follower`."""

    @property
    def place(self) -> Any:
        """Where the player is: place_q, lost, alternatives_q."""
        ...

    def hear(self, note: PlayedNote) -> list[Finding]:
        """One more note."""
        ...

    def tick(self, now_s: float) -> list[Finding]:
        """Time has passed."""
        ...

    def finish(self) -> list[Finding]:
        """The playing is over."""
        ...


MakeFollower = Callable[[Arrangement, Span, Hands | None], FollowsNotes]
