"""Reading the small test scores, each named for the thing it shows."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from engine.arrangement import Arrangement
from engine.read import read_arrangement

SCORES = Path(__file__).resolve().parents[1] / "fixtures" / "scores"


@pytest.fixture(scope="session")
def scores() -> Path:
    """The folder of small test scores."""
    return SCORES


@pytest.fixture(scope="session")
def read() -> Callable[[str], Arrangement]:
    """Read the small test score of a name."""
    return lambda name: read_arrangement(SCORES / f"{name}.musicxml")
