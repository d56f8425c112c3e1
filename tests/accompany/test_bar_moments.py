"""The page followed in words: when each bar is reached, as written and as a take was played."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import Span, whole_span
from engine.read import read_arrangement
from practice.listen.kept_hearing import HearingTakes, read_hearings
from practice.player import CHARACTERS, perform
from practice.sound.bar_moments import find_bars_of_page, find_bars_of_takes
from practice.store.importing import judge_kept
from practice.store.kept import TakeStart
from practice.store.store import Store

NOW = datetime(2026, 5, 1, 9, tzinfo=UTC)


def test_the_bars_of_the_page_come_at_the_tempo_asked_for(exercises: Path) -> None:
    page = read_arrangement(exercises / "brine-pump.musicxml")
    span = Span(2, 4)
    at_s = page.seconds_at([float(page.bars[k].onset_q) for k in (2, 3, 4)])
    found = find_bars_of_page(page, span, 0.5)
    assert [name for _, name in found] == [f"bar {page.bars[k].number}" for k in (2, 3, 4)]
    assert [s for s, _ in found] == pytest.approx([float(2 * (s - at_s[0])) for s in at_s])


def test_the_bars_of_a_take_come_as_they_were_played(exercises: Path, tmp_path: Path) -> None:
    page = read_arrangement(exercises / "brine-pump.musicxml")
    steady = CHARACTERS["steady"]
    events = perform(page, steady, np.random.default_rng(1), span=Span(2, 4), start_s=1.0)
    with Store(tmp_path / "takes.db") as store:
        take = store.begin_take(
            TakeStart(
                page.content_hash,
                page.title,
                "",
                "Upright",
                "played",
                NOW,
                whole_span(page),
                None,
                "free",
                1.0,
            )
        )
        store.append(take, events, NOW)
        store.end_take(take, NOW)
        judge_kept(store, page, store.take(take))
    heard = read_hearings(tmp_path / "takes.db", page, [take])
    found = find_bars_of_takes(page, HearingTakes(heard, heard[0].first_s))
    assert [name for _, name in found] == [f"bar {page.bars[k].number}" for k in (2, 3, 4)]
    assert found[0][0] == pytest.approx(1.0, abs=0.2)
    assert [s for s, _ in found] == sorted(s for s, _ in found)
