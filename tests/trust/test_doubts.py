"""Honest under doubt, in short; and what the command says then."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np

from engine.performance import KeyEvent
from engine.read import read_arrangement
from practice.cli import main
from practice.environment import Environment
from practice.player import CHARACTERS, perform
from practice.store.recording import write_recording
from tests.trust.doubts import doubt_all


def test_what_is_not_of_the_page_is_not_scored():
    for verdict in doubt_all(1, ("brine-pump", "evaporation", "two-sluices"), seed=7):
        assert verdict.passed, verdict


def review(score: Path, events: list[KeyEvent], folder: Path) -> tuple[int, str, str]:
    write_recording(folder / "take.mid", events)
    out, err = io.StringIO(), io.StringIO()
    command = ["review", str(score), str(folder / "take.mid"), "--data", str(folder)]
    status = main(command, Environment(stdout=out, stderr=err))
    return status, out.getvalue(), err.getvalue()


def test_the_command_says_of_another_key_that_it_cannot_be_followed(
    tmp_path: Path, exercises: Path
):
    score = exercises / "two-sluices.musicxml"
    played = perform(read_arrangement(score), CHARACTERS["demo"], np.random.default_rng(3))
    higher = [
        KeyEvent(e.time_s, 0.0, bytes([e.data[0], e.data[1] + 1, e.data[2]]))
        for e in played
        if e.data[0] & 0xF0 in (0x80, 0x90)
    ]
    status, said, warned = review(score, higher, tmp_path)
    assert (status, warned, said.count("\n")) == (0, "", 1)
    assert said.endswith(
        "cannot be followed as this arrangement in this key, so nothing is scored.\n"
    )


def test_the_command_says_of_silence_that_nothing_was_played(tmp_path: Path, exercises: Path):
    pedal_only = [KeyEvent(0.0, 0.0, bytes([0xB0, 64, 127]))]
    status, said, warned = review(exercises / "two-sluices.musicxml", pedal_only, tmp_path)
    assert (status, said, warned.count("\n")) == (1, "", 1)
    assert "no notes in it" in warned
