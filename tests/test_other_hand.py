"""What the other hand costs: one recording with the left hand alone and then with both."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from engine.arrangement import Arrangement, Hands, Span
from engine.measure import Instrument
from engine.other_hand import find_costs
from engine.performance import KeyEvent, pair_notes
from engine.read import read_arrangement
from engine.result import result_json
from engine.review import review_take
from practice.listen.spoken_account import say_cost
from practice.player import CHARACTERS, Character, perform
from tests.test_result import schema

__all__ = ["schema"]

SPAN = Span(4, 19)


@pytest.fixture(scope="module")
def pans(exercises: Path) -> Arrangement:
    return read_arrangement(exercises / "salt-pans-night-shift.musicxml")


def playing(pans: Arrangement, hands: Hands, finger_sd_ms: float, start_s: float) -> list[KeyEvent]:
    who = replace(CHARACTERS["steady"], finger_sd_ms=finger_sd_ms)
    assert isinstance(who, Character)
    draw = np.random.default_rng(3)
    return perform(pans, who, draw, span=SPAN, hands=hands, start_s=start_s)


def review(pans: Arrangement, *parts: list[KeyEvent]) -> dict:
    recording = pair_notes([event for part in parts for event in part])
    return result_json(pans, review_take(pans, recording, span=SPAN))


def test_the_left_hand_alone_against_both(pans: Arrangement, schema: dict) -> None:
    alone = playing(pans, "left", 3.0, 1.0)
    together = playing(pans, "both", 14.0, alone[-1].time_s + 6.0)
    told = review(pans, alone, together)
    jsonschema.validate(told, schema)
    assert [p["hands"] for p in told["passes"]] == ["left", "both"]
    (cost,) = told["other_hand"]
    assert (cost["alone"], cost["together"], cost["hand"]) == (1, 2, "left")
    assert (cost["from_bar"], cost["to_bar"]) == ("5", "20")
    assert cost["verdict"] == "worse"
    assert cost["difference_ms"]["value"] == pytest.approx(11.0, abs=3.0)
    assert cost["difference_ms"]["low"] > 0
    assert [p["instrument"] for p in told["passes"]] == [None, None]


def test_passes_on_two_keyboards_are_not_compared(pans: Arrangement) -> None:
    alone = playing(pans, "left", 3.0, 1.0)
    together = playing(pans, "both", 14.0, alone[-1].time_s + 6.0)
    one, other = review_take(pans, pair_notes([*alone, *together]), span=SPAN).passes
    here = replace(one, instrument=Instrument("Upright"))
    assert find_costs(pans, [here, other]) == ()
    assert len(find_costs(pans, [here, replace(other, instrument=Instrument("Upright"))])) == 1


def test_it_is_said_in_a_sentence(pans: Arrangement) -> None:
    alone = playing(pans, "left", 3.0, 1.0)
    together = playing(pans, "both", 14.0, alone[-1].time_s + 6.0)
    found = review_take(pans, pair_notes([*alone, *together]), span=SPAN)
    (cost,) = find_costs(pans, found.passes)
    said = say_cost(cost)
    assert said.startswith("The left hand's figure in bars 5 to 20: ")
    assert "worse, by the interval of the difference of two passes" in said


def test_one_hand_only_says_nothing(pans: Arrangement) -> None:
    assert review(pans, playing(pans, "left", 3.0, 1.0))["other_hand"] == []


def test_both_hands_only_say_nothing(pans: Arrangement) -> None:
    assert review(pans, playing(pans, "both", 3.0, 1.0))["other_hand"] == []
