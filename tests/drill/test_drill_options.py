"""A drill as the command line makes it: named, changed, from nothing, and saved."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import get_args

import pytest

from engine.arrangement import Arrangement
from engine.drill.sheet import Gesture
from engine.errors import UndersongError
from practice.commands import play
from practice.commands.drill_options import GESTURES, make_coach
from practice.drill import Drill
from practice.drills.coach import Coach
from practice.drills.sheet_file import read_sheet
from practice.environment import Places


def parse(words: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    play.add_options(parser)
    return parser.parse_args(["score.musicxml", *words])


def drill_of(arrangement: Arrangement, places: Places, words: list[str]) -> Drill:
    coach = make_coach(parse(words), places, arrangement)
    assert isinstance(coach, Coach)
    return coach.drill


def test_without_a_word_of_drills_there_is_none(shift: Arrangement, places: Places) -> None:
    assert make_coach(parse(["--bars", "3-4", "--hands", "left"]), places, shift) is None


@pytest.mark.parametrize("place", ["bars 5-6", "section Inlet", "phrase 2", "twins 1", "whole"])
def test_any_place_can_be_named(shift: Arrangement, places: Places, place: str) -> None:
    drill = drill_of(shift, places, ["--where", place])
    assert drill.span.from_bar <= drill.span.to_bar
    assert drill.pulse_kind == "free"


def test_places_are_taken_by_turns_and_joined_onwards(shift: Arrangement, places: Places) -> None:
    words = ["--where", "bars 3-4", "--where", "bars 7", "--overlap", "1", "--tempo", "80%"]
    coach = make_coach(
        parse([*words, "--rest-beats", "0", "--gesture", "soft-pedal"]), places, shift
    )
    assert coach is not None
    first = coach.drill
    assert (first.rest_beats, first.gesture, first.pulse_kind) == (0, "soft-pedal", "strict")
    assert first.rate == pytest.approx(0.8)
    second = coach.skip().extra["drill"]
    assert (first.span.to_bar - first.span.from_bar, second.span.to_bar - second.span.from_bar) == (
        2, 1,
    )  # fmt: skip


def test_a_named_drill_is_changed_and_saved_as_it_stands(
    shift: Arrangement, places: Places, tmp_path: Path
) -> None:
    file = tmp_path / "mine.toml"
    words = ["--drill", "ladder", "--where", "bars 3-4", "--break-after", "15"]
    drill = drill_of(shift, places, [*words, "--save-drill", str(file)])
    numbers = [shift.bars[k].number for k in (drill.span.from_bar, drill.span.to_bar)]
    assert numbers == ["3", "4"]
    sheet = read_sheet(file)
    assert (sheet.where, sheet.break_after_min) == (("bars 3-4",), 15.0)
    assert drill_of(shift, places, ["--drill", str(file)]) == drill


def test_the_gestures_offered_are_those_there_are() -> None:
    assert get_args(Gesture) == GESTURES


def test_slips_and_weak_bars_that_nobody_played_are_said(
    shift: Arrangement, places: Places
) -> None:
    for place in ("slip 1", "weakest 2", "somewhere"):
        with pytest.raises(UndersongError):
            make_coach(parse(["--where", place]), places, shift)
