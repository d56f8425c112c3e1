"""Sections over time in the take store: kept, replaced, cold, and carried over an edit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import pytest

from engine.arrangement import Arrangement, Bar, ScoreNote, Span, TempoMark
from engine.findings import Estimate, no_estimate
from engine.performance import Pulse
from engine.section_review import SectionReview
from engine.standing import PassFacts
from practice.store.kept import KeptPass, PassDetail, TakeStart
from practice.store.section_store import find_edit, keep_bars, read_sections
from practice.store.store import Store

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "takes.db") as store:
        yield store


def part(key: str = "a", **other: object) -> SectionReview:
    facts = PassFacts(True, 95, wrong=2, extra=1, missing=2)
    base = SectionReview(
        key, "both", True, facts, False, "5 of 100 notes off", 0.8,
        Estimate(12.0, 10.0, 14.0, 40, "ms"), Estimate(9.0, 8.0, 10.5, 80, "ms"), 208.0, 13.5,
        (Estimate(1.26, 0, 2, 8, "ms"), no_estimate("too few", "ms")), {"left out": 2},
    )  # fmt: skip
    return replace(base, **other)


def keep(
    store: Store, when: datetime, *parts: SectionReview, title: str = "Study", digest: str = "h"
) -> int:
    start = TakeStart(digest, title, "", "", "played", when, Span(0, 1), None, "free", 1.0)
    take = store.begin_take(start)
    store.add_pass(kept(take, when), PassDetail(sections=parts))
    return take


def kept(take: int, when: datetime) -> KeptPass:
    return KeptPass(
        take, 1, when, when.date().isoformat(), 0, 9, Span(0, 1), 0.0, 8.0, "both", Pulse(), 60.0,
        True, 95, 2, 1, 2, 12.0, 9.0, False, "5 of 100 notes off",
    )  # fmt: skip


def test_what_is_kept_comes_back(store: Store) -> None:
    take = keep(store, NOON, part())
    (row,) = read_sections(store, ["a"])
    assert (row.take, row.number, row.key, row.hands, row.day) == (
        take,
        1,
        "a",
        "both",
        "2026-03-01",
    )
    assert (row.right, row.notes, row.right_share) == (95, 100, 0.95)
    assert (row.good, row.why_not, row.asked, row.cold) == (False, "5 of 100 notes off", True, True)
    assert (row.tempo_share, row.timing_ms, row.evenness_ms) == (0.8, 12.0, 9.0)
    assert row.places_ms == (1.3, None)
    assert row.slips == {"left out": 2}
    again = row.as_pass(3)
    assert (again.section, again.right_share, again.cold) == (3, 0.95, True)


def test_a_pass_judged_again_replaces_what_was_said(store: Store) -> None:
    take = keep(store, NOON, part("a"), part("b"))
    store.add_pass(kept(take, NOON), PassDetail(sections=(part("b", good=True),)))
    assert [(r.key, r.good) for r in read_sections(store, ["a", "b"])] == [("b", True)]


def test_only_the_first_of_a_day_is_cold_even_if_it_is_kept_later(store: Store) -> None:
    later = keep(store, NOON + timedelta(hours=1), part())
    earlier = keep(store, NOON, part())
    tomorrow = keep(store, NOON + timedelta(days=1), part(asked=False))
    cold = {row.take: row.cold for row in read_sections(store, ["a"])}
    assert cold == {earlier: True, later: False, tomorrow: False}


def score(*pitches: int, digest: str = "h") -> Arrangement:
    """A bar of one whole note for each pitch."""
    bars = tuple(
        Bar(k, str(k + 1), k, 1, Fraction(4 * k), Fraction(4), 4, 4) for k in range(len(pitches))
    )
    notes = tuple(
        ScoreNote(
            f"n{k}", 1, Fraction(4 * k), Fraction(4), p, "C", 0, p // 12 - 1, "right", 1, "1", k
        )
        for k, p in enumerate(pitches)
    )
    return Arrangement("Study", digest, notes, bars, (TempoMark(Fraction(0), 60.0),))


def test_the_demo_is_nobody_s_progress(store: Store) -> None:
    start = TakeStart("h", "Study", "", "", "demo", NOON, Span(0, 1), None, "free", 1.0)
    take = store.begin_take(start)
    store.add_pass(kept(take, NOON), PassDetail(sections=(part(),)))
    assert read_sections(store, ["a"]) == []


def test_an_edited_score_says_bar_by_bar_what_no_longer_applies(store: Store) -> None:
    keep(store, NOON, part(), digest="old")
    keep_bars(store, score(60, 72, 84, digest="old"))
    edit = find_edit(store, score(60, 96, 84, 60, digest="new"))
    assert (edit.before, edit.changed, edit.gone) == ("2026-03-01", ("2",), ("2",))
    assert find_edit(store, score(60, 72, 84, digest="old")).changed == ()
    assert find_edit(store, replace(score(60, digest="x"), title="Another")).before == ""
