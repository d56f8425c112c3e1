"""Fixtures that every room's tests share."""

from __future__ import annotations

import os
from pathlib import Path

import hypothesis
import pytest

# a busy machine takes longer over an example: that is no fault of what is tested
hypothesis.settings.register_profile("undersong", deadline=None)
hypothesis.settings.load_profile("undersong")

ROOT = Path(__file__).resolve().parents[1]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One process more than there are processors: tests of real ports mostly wait."""
    return (os.cpu_count() or 1) + 1


def data_sets_folder() -> Path | None:
    """The folder of real recordings with truth, or None where it is not there."""
    named = os.environ.get("UNDERSONG_DATA_SETS")
    folder = Path(named) if named else ROOT.parent / "shared" / "data"
    return folder if folder.is_dir() else None


@pytest.fixture(scope="session")
def data_sets() -> Path:
    """The folder of real recordings with truth; the test is skipped where it is missing."""
    folder = data_sets_folder()
    if folder is None:
        pytest.skip("no folder of recordings: set UNDERSONG_DATA_SETS to run the checks on them")
    return folder


@pytest.fixture(scope="session")
def exercises() -> Path:
    """The shipped exercises."""
    return ROOT / "exercises"
