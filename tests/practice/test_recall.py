"""When a section is due again: the spacing model against its own reference values."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from fsrs import Card, Rating, Scheduler

from engine.arrangement import Arrangement
from practice.plan.plan_rules import RATINGS, rate_cold
from practice.plan.recall import find_recall
from practice.store.section_store import read_cold
from practice.store.store import Store
from tests.practice.kept_history import evening, keep_pass, part_of

NOW = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


def test_the_library_gives_its_own_reference_values() -> None:
    """Against tests/test_basic.py in the source distribution of fsrs 6.3.2."""
    card, scheduler = Card(card_id=1), Scheduler(enable_fuzzing=False)
    at = datetime(2022, 11, 29, 12, 30, tzinfo=UTC)
    days = []
    for rating in [Rating.Good] * 6 + [Rating.Again] * 2 + [Rating.Good] * 5:
        card, _ = scheduler.review_card(card, rating, at)
        days.append((card.due - card.last_review).days)
        at = card.due
    assert days == [0, 2, 11, 46, 163, 498, 0, 0, 2, 4, 7, 12, 21]
    card, at = Card(card_id=2), datetime(2022, 11, 29, 12, 30, tzinfo=UTC)
    for rating, later in zip([Rating.Again] + [Rating.Good] * 5, [0, 0, 1, 3, 8, 21], strict=True):
        at += timedelta(days=later)
        card, _ = scheduler.review_card(card, rating, at)
    assert card.stability == pytest.approx(53.62691, abs=1e-4)
    assert card.difficulty == pytest.approx(6.3574867, abs=1e-4)


@pytest.mark.parametrize(
    ("off", "tempo", "rating"),
    [(30, 1.0, "again"), (5, 1.0, "hard"), (0, 0.8, "good"), (0, 0.95, "easy")],
)
def test_cold_passes_are_rated_by_the_table(
    store: Store, pans: Arrangement, off: int, tempo: float, rating: str
) -> None:
    part = part_of(pans, pans.form.sections[1], off=off, tempo=tempo)
    keep_pass(store, pans, evening(0), [part])
    (cold,) = read_cold(store, part.key, "both", 9)
    assert rate_cold(cold) == rating
    assert [name for name, _ in RATINGS] == ["again", "hard", "good", "easy"]


def test_good_cold_passes_put_the_next_one_off_and_a_bad_one_brings_it_near(
    store: Store, pans: Arrangement
) -> None:
    inlet = pans.form.sections[1]
    for day in (0, 3):
        keep_pass(store, pans, evening(day), [part_of(pans, inlet)])
    key = part_of(pans, inlet).key
    after_good = find_recall(read_cold(store, key, "both", 9), evening(3))
    keep_pass(store, pans, evening(20), [part_of(pans, inlet, off=40)])
    after_bad = find_recall(read_cold(store, key, "both", 9), evening(20))
    assert after_good is not None
    assert after_bad is not None
    assert after_good.due - evening(3) > timedelta(days=7)
    assert after_bad.due - evening(20) < timedelta(days=5)
    assert find_recall([], NOW) is None
