"""The map while practising says the same as the store does afterwards."""

from __future__ import annotations

from pathlib import Path

from practice.library import open_arrangement
from practice.listen.live_map import LiveMap
from practice.progress.progress import read_map
from practice.store.store import Store
from tests.practice.kept_history import evening, keep_pass, part_of


def test_live_and_stored_agree_after_every_pass(exercises: Path, tmp_path: Path) -> None:
    pans = open_arrangement(exercises / "salt-pans-night-shift.musicxml", tmp_path)
    inlet, water = pans.form.sections[1], pans.form.sections[2]
    live = LiveMap(pans)
    with Store(tmp_path / "takes.db") as store:
        for day in range(2):
            keep_pass(store, pans, evening(day), [part_of(pans, inlet, off=5)])
        live.load(store)
        assert live.cells() == read_map(store, pans)
        for day, minute, off, asked, hands in (
            (3, 0, 0, True, "both"), (3, 5, 0, True, "both"), (4, 0, 0, False, "left"),
            (4, 5, 0, True, "both"), (5, 0, 0, True, "both"), (6, 0, 9, True, "right"),
        ):  # fmt: skip
            parts = [
                part_of(pans, section, off=off, asked=asked, hands=hands)
                for section in (inlet, water)
            ]
            keep_pass(store, pans, evening(day, minute), parts)
            live.add(parts, evening(day).date().isoformat())
            assert live.cells() == read_map(store, pans)
        assert {c.stage for c in live.cells() if c.hands == "both"} == {"secure", "unplayed"}
