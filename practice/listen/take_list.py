"""The kept takes of an arrangement as they are listed to be heard again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from engine.arrangement import Arrangement
from practice.listen.kept_hearing import KeptHearing, read_hearings
from practice.store.kept import KeptTake
from practice.store.store import Store


@dataclass(frozen=True, slots=True)
class TakeRow:
    """One take: its number, when it was played, its length, and what it came to."""

    number: int
    when: str
    length: str
    told: str


@dataclass(frozen=True, slots=True)
class TakeShelf:
    """Reads the store by connections of its own: not for a thread that others wait for."""

    store_path: Path

    def list_takes(self, arrangement: Arrangement) -> tuple[TakeRow, ...]:
        """The takes of an arrangement, and of the page as it was before, newest first."""
        if not self.store_path.exists():
            return ()
        with Store(self.store_path) as store:
            return tuple(
                describe_take(take, arrangement)
                for take in reversed(store.takes())
                if take.notes and _is_of(take, arrangement)
            )

    def read(self, arrangement: Arrangement, numbers: Sequence[int]) -> tuple[KeptHearing, ...]:
        """Takes to be heard.

        Raises:
            TakeError, StoreError: one of them cannot be had.
        """
        return read_hearings(self.store_path, arrangement, numbers)


def describe_take(take: KeptTake, arrangement: Arrangement) -> TakeRow:
    """A take as it is listed."""
    minutes, seconds = divmod(round(take.length_s), 60)
    told = [f"{take.passes} pass{'es' * (take.passes != 1)}", f"{take.good_passes} good"]
    told += ["keeper"] * take.keeper + ["demo"] * (take.start.source == "demo")
    told += ["an earlier page"] * (take.start.content_hash != arrangement.content_hash)
    when = f"{take.start.started:%Y-%m-%d %H:%M}"
    return TakeRow(take.number, when, f"{minutes}:{seconds:02}", ", ".join(told))


def _is_of(take: KeptTake, arrangement: Arrangement) -> bool:
    """Of this page, or of one of its title that was saved before."""
    same = take.start.content_hash == arrangement.content_hash
    return same or take.start.title == arrangement.title
