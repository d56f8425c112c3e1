"""The same take reviewed elsewhere and at another time gives the same JSON, byte for byte."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from engine.read import read_arrangement
from practice.player import CHARACTERS, perform
from practice.store.recording import write_recording

NUMPY = "numpy._core._multiarray_umath"
FEATURES = (
    f"from {NUMPY} import __cpu_dispatch__ as d, __cpu_features__ as f;"
    "print(' '.join(x for x in d if f.get(x)))"
)


@pytest.fixture(scope="module")
def take(tmp_path_factory: pytest.TempPathFactory, exercises: Path) -> tuple[Path, Path]:
    """A score and a played MIDI file of it."""
    score = exercises / "two-sluices.musicxml"
    events = perform(read_arrangement(score), CHARACTERS["demo"], np.random.default_rng(5))
    file = tmp_path_factory.mktemp("take") / "take.mid"
    write_recording(file, events)
    return score, file


def review(take: tuple[Path, Path], folder: Path, **variables: str) -> str:
    command = [sys.executable, "-W", "ignore", "-m", "practice.cli", "review", *map(str, take)]
    command += ["--json", "-", "--data", str(folder)]
    environment = {**os.environ, **variables}
    return subprocess.run(
        command, capture_output=True, text=True, check=True, env=environment, encoding="utf-8"
    ).stdout


@pytest.fixture(scope="module")
def plain(take: tuple[Path, Path], tmp_path_factory: pytest.TempPathFactory) -> str:
    return review(take, tmp_path_factory.mktemp("plain"), PYTHONHASHSEED="0")


@pytest.mark.parametrize(
    "variables",
    [
        {"PYTHONHASHSEED": "1"},
        {"TZ": "Pacific/Kiritimati"},
        {"LC_ALL": "tr_TR.UTF-8", "LANG": "de_DE.UTF-8"},
        {"PYTHONUTF8": "0", "LC_ALL": "C"},
        {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "OPENBLAS_CORETYPE": "Prescott"},
    ],
    ids=["hash seed", "time zone", "locale", "no locale", "linear algebra"],
)
def test_the_surroundings_change_nothing(
    take: tuple[Path, Path], plain: str, tmp_path: Path, variables: dict[str, str]
):
    assert plain.startswith("{")
    assert review(take, tmp_path, **variables) == plain


def test_the_processor_changes_nothing(take: tuple[Path, Path], plain: str, tmp_path: Path):
    there = subprocess.run([sys.executable, "-c", FEATURES], capture_output=True, text=True)
    features = there.stdout.strip()
    if not features:
        pytest.skip("numpy finds no optional processor features here to switch off")
    assert review(take, tmp_path, NPY_DISABLE_CPU_FEATURES=features) == plain
