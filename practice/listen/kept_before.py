"""What the store tells at the beginning of a sitting, and the keeper for what is to come."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from engine.arrangement import Arrangement
from engine.errors import UndersongError
from engine.standing import DEFINITIONS, Definitions
from practice.listen.judge import Even, History
from practice.listen.live_map import LiveMap
from practice.store.importing import judge_kept
from practice.store.keeper import TakeKeeper
from practice.store.section_store import keep_bars, read_tempo_shares
from practice.store.store import Store, StoreError


def find_last_path(store_path: Path) -> str:
    """The score practised last.

    Raises:
        UndersongError: there is none.
    """
    if store_path.exists():
        with Store(store_path) as store:
            for take in reversed(store.takes()):
                if take.start.path:
                    return take.start.path
    raise UndersongError("no arrangement named", "", "undersong play ARRANGEMENT")


def open_keeper(
    store_path: Path,
    arrangement: Arrangement,
    now: Callable[[], datetime],
    say: Callable[[str], None],
) -> TakeKeeper:
    """The keeper of takes. Takes that a killed program left open are closed, judged and said.

    Raises:
        StoreError: the store cannot be used.
    """
    with Store(store_path) as store:
        for take in store.recover(now()):
            say(f"Recovered take {take.number}: {take.notes} notes, {take.start.title}")
            if take.start.content_hash == arrangement.content_hash:
                judge_kept(store, arrangement, take)
    return TakeKeeper(store_path, now)


def read_history(store_path: Path, arrangement: Arrangement) -> History:
    """How even the passes kept so far were, by the instrument they were played on.

    What the demo played is left out: it is not the player's own.
    """
    try:
        with Store(store_path) as store:
            takes = {t.number: t.start for t in store.takes(arrangement.content_hash)}
            kept = store.passes(arrangement.content_hash)
            shares = read_tempo_shares(store, arrangement.content_hash)
    except StoreError:
        return {}
    history: dict[str, list[Even]] = {}
    for p in kept:
        if p.tempo_qpm and p.evenness_ms is not None and takes[p.take].source != "demo":
            # The mark at its beginning says little of a pass over several marks.
            begins = p.tempo_qpm / arrangement.tempo_at(p.from_q).qpm
            share = shares.get((p.take, p.number), begins)
            history.setdefault(takes[p.take].instrument, []).append(
                Even(share, p.evenness_ms, p.fingering)
            )
    return history


def read_map(
    store_path: Path, arrangement: Arrangement, definitions: Definitions = DEFINITIONS
) -> LiveMap:
    """The stages that the store tells; all unplayed where it tells nothing."""
    live_map = LiveMap(arrangement, definitions)
    try:
        with Store(store_path) as store:
            live_map.load(store)
            keep_bars(store, arrangement)
    except StoreError:
        return LiveMap(arrangement, definitions)
    return live_map
