"""A folder of recordings: each to its own arrangement, once, and nothing else."""

from __future__ import annotations

import io
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from engine.arrangement import whole_span
from engine.performance import KeyEvent, pair_notes
from practice.cli import main
from practice.drill import Drill
from practice.environment import Environment, ExitStatus
from practice.library import open_arrangement
from practice.player import CHARACTERS, perform
from practice.store.belonging import find_arrangement
from practice.store.importing import keep_recording
from practice.store.recording import write_recording
from practice.store.store import Store

NOW = datetime(2026, 3, 9, 18, 0, tzinfo=UTC)
NAMES = ("brine-pump", "two-sluices", "evaporation", "salt-pans-night-shift")


@pytest.fixture(scope="module")
def scores(exercises: Path, tmp_path_factory: pytest.TempPathFactory):
    cache = tmp_path_factory.mktemp("cache")
    return {n: open_arrangement(exercises / f"{n}.musicxml", cache) for n in NAMES}


@pytest.fixture
def folder(scores, tmp_path: Path) -> Path:
    """Three recordings of three pieces, one of noise, and one file that is none."""
    inside = tmp_path / "recordings"
    inside.mkdir()
    for k, name in enumerate(NAMES[:3]):
        played = perform(
            scores[name], CHARACTERS["hurried"], np.random.default_rng(k), start_s=0.5
        )  # fmt: skip
        write_recording(inside / f"{k}.mid", played, name)
        os.utime(inside / f"{k}.mid", (1_770_000_000 + 86400 * k,) * 2)
    rng = np.random.default_rng(9)
    noise = [
        event for played in [perform(scores[NAMES[0]], CHARACTERS["steady"], rng, start_s=0.5)]
        for event in played
    ]  # fmt: skip
    keys = {p: int(rng.integers(30, 100)) for p in range(128)}
    shuffled = [
        type(e)(e.time_s, e.uncertainty_s, bytes([e.data[0], keys[e.data[1]], e.data[2]]))
        for e in noise if e.data[0] != 0xB0
    ]  # fmt: skip
    write_recording(inside / "noise.mid", shuffled, "noise")
    (inside / "broken.mid").write_bytes(b"no MIDI")
    return inside


def bring(folder: Path, exercises: Path, tmp_path: Path, *words: str):
    out, err = io.StringIO(), io.StringIO()
    env = Environment(stdout=out, stderr=err, variables={}, now=lambda: NOW)
    files = [str(exercises / f"{n}.musicxml") for n in NAMES]
    data = ["--data", str(tmp_path / "data")]
    status = main(["import", str(folder), *files, *data, *words], env)
    return status, out.getvalue(), err.getvalue()


def test_each_recording_goes_to_its_arrangement_once(folder, exercises, tmp_path) -> None:
    status, said, warned = bring(folder, exercises, tmp_path)
    assert status == ExitStatus.DONE
    assert "3 of 5 recordings kept." in said
    assert "noise.mid: belongs to none" in said
    assert "broken.mid" in warned
    with Store(tmp_path / "data" / "takes.db") as store:
        takes = store.takes()
        assert [t.start.title for t in takes] == ["Brine Pump", "Two Sluices", "Evaporation"]
        assert all(t.passes >= 1 for t in takes)
        days = [t.start.started.date().isoformat() for t in takes]
    assert days == sorted(set(days))
    status, said, warned = bring(folder, exercises, tmp_path)
    assert status == ExitStatus.FAILED
    assert warned.count("was kept before") == 3


def test_a_dry_run_keeps_nothing(folder, exercises, tmp_path) -> None:
    status, said, _ = bring(folder, exercises, tmp_path, "--dry-run")
    assert status == ExitStatus.DONE
    assert "3 of 5 recordings would be kept." in said
    assert not (tmp_path / "data" / "takes.db").exists()


def test_one_hand_of_a_few_bars_is_enough_to_tell(scores) -> None:
    from engine.arrangement import Span

    several = [scores[n] for n in NAMES]
    for index, name in enumerate(NAMES):
        played = perform(
            scores[name], CHARACTERS["demo"], np.random.default_rng(index), span=Span(2, 12),
            hands="right",
        )  # fmt: skip
        found = find_arrangement(pair_notes(played), several)
        assert found is not None
        assert found.arrangement == index


def test_an_empty_folder_is_one_line(exercises, tmp_path) -> None:
    (tmp_path / "none").mkdir()
    status, _, err = bring(tmp_path / "none", exercises, tmp_path)
    assert status == ExitStatus.FAILED
    assert err.count("\n") == 1


def test_the_hour_that_comes_twice_is_two_hours(scores, tmp_path: Path) -> None:
    """25 October 2026, 02:30 in Berlin, before and after the clocks go back."""
    pump = scores["brine-pump"]
    events = [KeyEvent(0.1, 0.0, bytes([0x90, 60, 64])), KeyEvent(9.0, 0.0, bytes([0x80, 60, 64]))]
    berlin = ZoneInfo("Europe/Berlin")
    for fold in (0, 1):
        now = datetime(2026, 10, 25, 2, 30, fold=fold, tzinfo=berlin)
        keep_recording(tmp_path / "takes.db", pump, "", Drill(whole_span(pump)), events, now)
    with Store(tmp_path / "takes.db") as store:
        first, again = (take.start.started for take in store.takes())
    assert again - first == timedelta(hours=1)
    assert (first.utcoffset(), again.utcoffset()) == (timedelta(hours=2), timedelta(hours=1))


def test_what_only_looks_like_a_recording_stops_nothing(folder, exercises, tmp_path) -> None:
    """Links to nothing, folders and names that are no text; the others are kept all the same."""
    (folder / "gone.mid").symlink_to(tmp_path / "nowhere")
    (folder / "folder.mid").mkdir()
    (folder / "empty.mid").write_bytes(b"")
    os.rename(folder / "0.mid", os.fsencode(folder) + b"/b\xff\n.mid")
    status, said, warned = bring(folder, exercises, tmp_path, "--dry-run")
    assert status == ExitStatus.DONE
    assert "3 of 6 recordings would be kept." in said
    assert "b\\udcff .mid: Brine Pump" in said
    assert "empty.mid: not a MIDI file" in warned
