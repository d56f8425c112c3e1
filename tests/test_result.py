"""A take reviewed whole, and its JSON against its own schema."""

from __future__ import annotations

import json
import math
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from engine.arrangement import Arrangement
from engine.findings import Estimate, no_estimate
from engine.performance import pair_notes
from engine.read import read_arrangement
from engine.result import DECIMALS, result_json, rounded, to_json
from engine.review import review_take
from practice.player import CHARACTERS, perform

ENGINE = Path(__file__).resolve().parents[1] / "engine"


@pytest.fixture(scope="module")
def schema() -> dict:
    return json.loads((ENGINE / "result.schema.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module", params=["brine-pump", "salt-pans-night-shift"])
def arrangement(request: pytest.FixtureRequest, exercises: Path) -> Arrangement:
    return read_arrangement(exercises / f"{request.param}.musicxml")


def play(arrangement: Arrangement, character: str, seed: int = 1):
    return pair_notes(perform(arrangement, CHARACTERS[character], np.random.default_rng(seed)))


@pytest.mark.parametrize("live", [False, True])
def test_the_result_keeps_its_schema(arrangement: Arrangement, schema: dict, live: bool):
    recording = play(arrangement, "demo")
    result = result_json(arrangement, review_take(arrangement, recording, live=live))
    jsonschema.validate(result, schema)
    json.dumps(result, allow_nan=False)


def test_every_note_played_is_told_once_and_in_order(arrangement: Arrangement):
    recording = play(arrangement, "demo")
    result = result_json(arrangement, review_take(arrangement, recording))
    told = [n["played_index"] for p in result["passes"] for n in p["notes"]]
    told = [i for i in told if i is not None]
    outside = [n["played_index"] for n in result["outside"]]
    assert told == sorted(told)
    assert sorted(told + outside) == list(range(len(recording.notes)))


def test_a_perfect_performance_is_one_whole_pass_without_slips(arrangement: Arrangement):
    recording = play(arrangement, "steady")
    review = review_take(arrangement, recording)
    assert len(review.passes) == 1
    only = review.passes[0]
    assert only.slips == ()
    assert {f.what for f in only.findings} == {"right"}
    assert only.played.reached_end
    assert only.span.from_bar == 0
    assert only.span.to_bar == len(arrangement.bars) - 1


def test_numbers_are_rounded_as_the_schema_says(schema: dict):
    assert schema["x-decimals"] == DECIMALS
    told = rounded({"sd_ms": {"value": 1.23456, "n": 3}, "onset_s": 0.00016, "cv": math.nan})
    assert told == {"sd_ms": {"value": 1.23, "n": 3}, "onset_s": 0.0002, "cv": None}


def test_minus_zero_is_zero():
    assert math.copysign(1, rounded(-0.00001)) == 1


def test_an_estimate_without_value_gives_its_reason():
    assert to_json(no_estimate("no figure in the span")) == {
        "value": None,
        "reason": "no figure in the span",
    }
    assert to_json(Estimate(1.0, 0.5, 1.5, 4, "ms")) == {
        "value": 1.0,
        "low": 0.5,
        "high": 1.5,
        "n": 4,
    }
