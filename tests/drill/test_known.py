"""What a drill knows of earlier takes: the weakest bars of the last one, and its slips."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from engine.arrangement import Arrangement, Span
from engine.findings import Slip
from engine.performance import Pulse
from practice.drills.known import read_weaknesses
from practice.drills.places import NOTHING_KNOWN
from practice.environment import Places
from practice.store.kept import KeptPass, PassDetail, Source, TakeStart
from practice.store.store import Store

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


def keep(
    places: Places, page: Arrangement, slipped: tuple[int, ...], minute: int,
    source: Source = "played",
) -> None:  # fmt: skip
    """A take with one slip in each bar named."""
    when, span = NOON + timedelta(minutes=minute), Span(0, 30)
    first = {page.notes[k].bar: k for k in reversed(range(len(page.notes)))}
    slips = tuple(Slip("other", None, first[bar], "", "", "") for bar in slipped)
    start = TakeStart(
        page.content_hash, page.title, "", "piano", source, when, span, None, "free", 1.0
    )
    with Store(places.store) as store:
        kept = KeptPass(
            store.begin_take(start), 1, when, when.date().isoformat(), 0, 99, span, 0.0, 8.0,
            "both", Pulse(), 72.0, True, 100, 0, 0, 0, 9.0, 12.0, not slips, "",
        )  # fmt: skip
        store.add_pass(kept, PassDetail(slips=slips))


def test_nothing_is_known_before_a_take(places: Places, shift: Arrangement) -> None:
    assert read_weaknesses(places, shift) == NOTHING_KNOWN


def test_one_take_tells_its_weakest_bars(places: Places, shift: Arrangement) -> None:
    keep(places, shift, (4, 9, 9, 20, 9, 20), 0)
    known = read_weaknesses(places, shift)
    assert known.bars == (9, 20, 4)
    assert known.slips == (4, 9, 9, 20, 9, 20)


def test_the_last_take_counts(places: Places, shift: Arrangement) -> None:
    keep(places, shift, (4, 4), 0)
    keep(places, shift, (12,), 5)
    assert read_weaknesses(places, shift).bars == (12,)


def test_the_simulated_pianist_tells_only_where_nobody_played(
    places: Places, shift: Arrangement
) -> None:
    keep(places, shift, (7,), 0, "demo")
    assert read_weaknesses(places, shift).bars == (7,)
    keep(places, shift, (4,), 5)
    keep(places, shift, (9,), 9, "demo")
    assert read_weaknesses(places, shift).bars == (4,)
