"""A fault in each thread, in short; the control, in which nothing is told, is tried too."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from practice.cli import main
from practice.environment import Environment
from practice.listen.demo import DemoPlayer
from tests.trust import window_threads
from tests.trust.threads import PLACES, Place, PlantedFault, fail_once, planted_nowhere


@pytest.mark.parametrize("place", PLACES, ids=lambda place: f"{place.thread}, {place.name}")
def test_a_fault_in_a_thread_ends_nothing_and_is_told(place: Place):
    assert fail_once(place, 2) == ""


@pytest.mark.parametrize("thread", window_threads.PLACES)
def test_a_fault_in_a_thread_of_the_window_is_told_or_mended(thread: str, tmp_path: Path):
    assert window_threads.PLACES[thread](tmp_path) == ""


def test_without_a_fault_nothing_is_told():
    assert planted_nowhere() == "nothing was counted or said"


def test_a_pianist_that_fails_ends_the_session_with_one_line(
    tmp_path: Path, exercises: Path, monkeypatch: pytest.MonkeyPatch
):
    def fail(*_: object) -> None:
        raise PlantedFault("planted")

    monkeypatch.setattr(DemoPlayer, "_performance", fail)
    err = io.StringIO()
    command = ["play", str(exercises / "brine-pump.musicxml"), "--player", "demo", "--no-window"]
    main([*command, "--speed", "50", "--data", str(tmp_path)], Environment(stderr=err))
    assert err.getvalue().count("\n") == 1
    assert "simulated pianist failed" in err.getvalue()
