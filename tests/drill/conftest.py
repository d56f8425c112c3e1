"""A page to practise and a place for what is kept."""

from __future__ import annotations

from pathlib import Path

import pytest

from engine.arrangement import Arrangement
from engine.read import read_arrangement
from practice.environment import Places, find_places


@pytest.fixture(scope="module")
def shift(exercises: Path) -> Arrangement:
    return read_arrangement(exercises / "salt-pans-night-shift.musicxml")


@pytest.fixture
def places(tmp_path: Path) -> Places:
    return find_places(str(tmp_path), {})
