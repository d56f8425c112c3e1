"""The following hand on a recorded performance, against both baselines."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from engine.read import read_arrangement
from tests.bench.bench_accompany import compare, read_played


@pytest.mark.parametrize("take", ["p1", "p3", "p6"])
def test_the_figure_under_a_melody_comes_nearer_than_either_baseline(
    data_sets: Path, take: str
) -> None:
    """Vienna 4x22, op. 10 no. 3: the right hand is taken away, matches corrected by hand."""
    piece = data_sets / "chopin-op10-3"
    arrangement = read_arrangement(piece / "score.musicxml")
    errors = compare(arrangement, read_played(arrangement, piece, take), "left", None, live=False)
    far = {name: float(np.median(np.abs(errors[name]))) for name in ("companion", "hold", "wait")}
    assert far["companion"] < far["hold"] < far["wait"]
    assert far["companion"] < 0.075
