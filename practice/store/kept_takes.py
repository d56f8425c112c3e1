"""Kept takes by number, for the commands that name one."""

from __future__ import annotations

from engine.errors import TakeError
from engine.performance import KeyEvent
from practice.environment import Places
from practice.store.kept import KeptTake
from practice.store.store import Store


def read_take(places: Places, number: int) -> tuple[KeptTake, list[KeyEvent]]:
    """A take and its events, seconds from its start.

    Raises:
        TakeError: there is no such take, or it is damaged.
    """
    if not places.store.exists():
        raise TakeError("there is no such take", f"take {number}", "nothing was kept yet")
    with Store(places.store) as store:
        return store.take(number), store.events(number)
