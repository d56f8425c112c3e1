"""Which bars went wrong again and again, and when a parting has settled."""

from __future__ import annotations

from engine.arrangement import Arrangement
from practice.progress.weak_bars import WeakBar, find_weak_bars, is_settled, weak_bars
from practice.store.store import Store


def test_weak_bars_go_by_the_last_passes_over_each() -> None:
    bars = {3, 4}
    newest_first = [("both", bars, {4}), ("both", bars, {3, 4}), ("left", bars, {3}),
                    ("both", bars, {4})]  # fmt: skip
    assert weak_bars(newest_first) == [WeakBar(4, 3, 3, "both")]
    mended = [("both", bars, set())] * 3
    assert weak_bars([*mended, *newest_first]) == []


def test_no_weak_bars_in_an_empty_store(store: Store, pans: Arrangement) -> None:
    assert find_weak_bars(store, pans) == []


def test_a_parting_rests_when_both_its_passages_went_well(pans: Arrangement) -> None:
    clean, slip = ("both", {1, 2, 3, 4}, set()), ("both", {1, 2, 3, 4}, {3})
    assert is_settled([clean, clean, slip], {2, 3})
    assert not is_settled([clean, slip, clean], {2, 3})
    assert not is_settled([clean], {2, 3})
    assert not is_settled([("left", {2, 3}, set())] * 3, {2, 3})
