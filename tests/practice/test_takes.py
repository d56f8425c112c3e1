"""The list of takes: filters, keepers, two side by side, and deleting only by asking twice."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import whole_span
from practice.cli import main
from practice.drill import Drill, find_span
from practice.environment import Environment, ExitStatus
from practice.library import open_arrangement
from practice.player import CHARACTERS, Character, perform
from practice.progress.progress import read_progress
from practice.store.importing import keep_recording
from practice.store.store import Store

NOW = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def pump(exercises: Path, tmp_path_factory: pytest.TempPathFactory):
    return open_arrangement(exercises / "brine-pump.musicxml", tmp_path_factory.mktemp("cache"))


@pytest.fixture
def data(pump, tmp_path: Path) -> Path:
    """Three takes on three days: uneven, even, hurried."""
    for day, character in enumerate(
        (Character(finger_sd_ms=25.0), Character(finger_sd_ms=4.0), CHARACTERS["hurried"])
    ):
        events = perform(pump, character, np.random.default_rng(day), start_s=0.5)
        when = NOW + timedelta(days=day)
        keep_recording(tmp_path / "takes.db", pump, "", Drill(whole_span(pump)), events, when)
    return tmp_path


def takes(data: Path, *words: str, answers: str = "") -> tuple[ExitStatus, str, str]:
    out, err = io.StringIO(), io.StringIO()
    env = Environment(
        stdin=io.StringIO(answers), stdout=out, stderr=err, variables={}, now=lambda: NOW
    )
    status = main(["takes", *words, "--data", str(data)], env)
    return status, out.getvalue(), err.getvalue()


def listed(data: Path, *words: str) -> list[int]:
    return [row["take"] for row in json.loads(takes(data, *words, "--json", "-")[1])]


def test_takes_are_found_by_day_by_mark_and_by_result(data: Path) -> None:
    assert listed(data) == [1, 2, 3]
    assert listed(data, "--since", "2026-03-02") == [2, 3]
    assert listed(data, "--until", "2026-03-02") == [1, 2]
    assert listed(data, "--keepers") == []
    assert takes(data, "--keep", "2")[0] == ExitStatus.DONE
    assert listed(data, "--keepers") == [2]
    takes(data, "--unkeep", "2")
    assert listed(data, "--keepers") == []
    assert 2 in listed(data, "--good")


def test_two_takes_side_by_side(data: Path) -> None:
    status, said, _ = takes(data, "--compare", "1", "2")
    assert status == ExitStatus.DONE
    evenness = next(line for line in said.splitlines() if line.startswith("evenness"))
    assert "better" in evenness
    same = takes(data, "--compare", "1", "1")[1]
    assert "better" not in same
    assert "worse" not in same


def test_takes_on_two_keyboards_are_set_side_by_side_and_not_compared(data: Path) -> None:
    with Store(data / "takes.db") as store, store.writing() as db:
        db.execute("INSERT INTO instruments (name) VALUES ('Upright')")
        db.execute("UPDATE takes SET instrument = 1 WHERE id = 2")
    said = takes(data, "--compare", "1", "2")[1]
    assert said.count("played on different instruments") == said.count(" against ")
    assert "better" not in said


@pytest.mark.parametrize("answers", ["", "no\n", "yes\n", "yes\nyes\n", "yes\n2\n", "1\n1\n"])
def test_anything_but_both_answers_leaves_it(data: Path, answers: str) -> None:
    status, said, _ = takes(data, "--delete", "1", answers=answers)
    assert status == ExitStatus.FAILED
    assert said.endswith("Left as it is.\n")
    assert listed(data) == [1, 2, 3]


def test_deleted_by_asking_twice_with_all_that_was_said_of_it(data: Path, pump) -> None:
    with Store(data / "takes.db") as store:
        before = sum(h.sums.passes for s in read_progress(store, pump).sections for h in s.hands)
    status, said, _ = takes(data, "--delete", "1", answers="yes\n1\n")
    assert (status, said.splitlines()[-1]) == (ExitStatus.DONE, "Take 1 is deleted.")
    assert listed(data) == [2, 3]
    with Store(data / "takes.db") as store:
        after = sum(h.sums.passes for s in read_progress(store, pump).sections for h in s.hands)
        assert store.query("SELECT count(*) FROM events WHERE take = 1") == [(0,)]
    assert 0 < after < before


@pytest.mark.parametrize("words", [["--delete", "9"], ["--compare", "1", "9"], ["--keep", "9"]])
def test_a_take_that_is_not_there_is_one_line(data: Path, words: list[str]) -> None:
    status, _, err = takes(data, *words)
    assert status == ExitStatus.FAILED
    assert err.count("\n") == 1


def test_takes_of_different_arrangements_are_not_compared(data: Path, pump, exercises) -> None:
    other = replace(pump, title="Another", content_hash="f" * 64)
    events = perform(other, Character(), np.random.default_rng(1), start_s=0.5)
    keep_recording(data / "takes.db", other, "", Drill(whole_span(other)), events, NOW)
    assert "different arrangements" in takes(data, "--compare", "1", "4")[2]


@pytest.mark.parametrize("act", [["--keep"], ["--unkeep"], ["--delete"], ["--compare", "1"]])
def test_take_nought_is_refused_and_not_taken_for_no_take_named(data: Path, act) -> None:
    status, said, err = takes(data, *act, "0")
    assert (status, said) == (ExitStatus.WRONG_USE, "")
    assert "'0' is not a number from 1 on" in err


def test_a_day_that_is_none_is_refused_in_plain_words(data: Path) -> None:
    status, _, err = takes(data, "--since", "2026-13-01")
    assert status == ExitStatus.WRONG_USE
    assert "'2026-13-01' is not a day; write it 2026-03-01" in err


def test_takes_that_a_choice_leaves_out_are_not_said_to_be_missing(data: Path) -> None:
    said = takes(data, "--since", "2027-01-01")[1]
    assert said == "None of the 3 kept is such a take. See all: undersong takes\n"


def keep_another(data: Path, pump, bars: str = "", hands=None, faster: float = 1.0) -> int:
    """One more take, of some bars and hands; its number."""
    drill = Drill(find_span(pump, bars, ""), hands)
    character = Character(finger_sd_ms=4.0, tempo=faster)
    events = perform(
        pump, character, np.random.default_rng(4), span=drill.span, hands=hands or "both",
        start_s=0.5,
    )  # fmt: skip
    return keep_recording(data / "takes.db", pump, "", drill, events, NOW + timedelta(days=9))


def verdicts(said: str) -> set[str]:
    return {line.rsplit(": ", 1)[1] for line in said.splitlines() if " against " in line}


def test_other_hands_and_other_bars_are_set_side_by_side_and_not_compared(data: Path, pump) -> None:
    left = keep_another(data, pump, hands="left")
    first, last = keep_another(data, pump, "1-8"), keep_another(data, pump, "9-17")
    assert verdicts(takes(data, "--compare", "2", str(left))[1]) == {"played with other hands"}
    assert verdicts(takes(data, "--compare", str(first), str(last))[1]) == {
        "other bars were played"
    }


def test_the_figure_at_another_tempo_is_not_compared(data: Path, pump) -> None:
    quick = keep_another(data, pump, faster=1.3)
    said = takes(data, "--compare", "2", str(quick))[1].splitlines()
    assert "at another tempo, " in next(line for line in said if line.startswith("evenness"))
    assert "another tempo" not in next(line for line in said if line.startswith("notes right"))


def test_two_takes_are_compared_in_the_numbers_their_passes_were_told_in(
    exercises: Path, tmp_path: Path
) -> None:
    """The octaves as in the account of the pass, and which pass of each take it is."""
    sluices = open_arrangement(exercises / "two-sluices.musicxml", tmp_path / "cache")
    path, store = str(exercises / "two-sluices.musicxml"), tmp_path / "takes.db"
    for seed in (1, 2):
        events = perform(sluices, CHARACTERS["demo"], np.random.default_rng(seed), start_s=0.5)
        keep_recording(store, sluices, path, Drill(whole_span(sluices)), events, NOW)
    said = takes(tmp_path, "--compare", "1", "2")[1].splitlines()
    assert [line.split(":")[0] for line in said[:2]] == ["take 1, pass 1", "take 2, pass 1"]
    assert all("the whole, both hands" in line for line in said[:2])
    with Store(store) as kept:
        octaves = kept.detail(1, 1).measures["octaves"]
    shown = octaves["median_abs_residual_ms"]["value"]
    assert f"octaves: {shown:.1f} ms against" in "\n".join(said)
    assert shown != pytest.approx(octaves["residual_sd_ms"]["value"], rel=0.05)
