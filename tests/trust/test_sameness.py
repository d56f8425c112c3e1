"""A decimal comma and Turkish capitals change nothing; rounding alone is no unevenness."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from engine.findings import Estimate
from engine.measure.evenness import Evenness
from engine.measure.shares import PERFECT
from engine.performance import pair_notes
from engine.read import read_arrangement
from engine.review import review_take
from practice.player import CHARACTERS, perform
from practice.store.recording import write_recording
from tests.trust.sameness import Surroundings, make_locale, review


@pytest.fixture(scope="module")
def take(tmp_path_factory: pytest.TempPathFactory, exercises: Path) -> Path:
    page = read_arrangement(exercises / "evaporation.musicxml")
    path = tmp_path_factory.mktemp("take") / "take.mid"
    write_recording(path, perform(page, CHARACTERS["hurried"], np.random.default_rng(9)))
    return path


@pytest.fixture(scope="module")
def here(take: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    return review(Surroundings("here"), "evaporation", take, tmp_path_factory.mktemp("here"))


@pytest.mark.parametrize("name", ["de_DE", "tr_TR"])
def test_a_locale_that_is_taken_up_changes_nothing(
    take: Path, here: str, tmp_path: Path, name: str
):
    variables = make_locale(name, tmp_path)
    if not variables:
        pytest.skip("no localedef, or no sources of locales, to make one with")
    there = Surroundings(name, variables=variables)
    told = review(there, "evaporation", take, tmp_path / "there")
    assert told.startswith("{")
    assert told == here


def test_of_a_perfectly_even_figure_no_share_is_told(exercises: Path):
    page = read_arrangement(exercises / "brine-pump.musicxml")
    played = perform(page, CHARACTERS["steady"], np.random.default_rng(0))
    (one,) = review_take(page, pair_notes(played)).passes
    even = one.measures.evenness
    assert isinstance(even, Evenness)
    for told in (even.place_share, even.drift_share, even.rest_share, even.lag1_correlation):
        assert isinstance(told, Estimate)
        assert (told.value, told.reason) == (None, PERFECT)
