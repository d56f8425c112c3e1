"""Fixtures of the shell's tests."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from engine.arrangement import Arrangement
from practice.library import open_arrangement
from practice.store.store import Store

sys.path.append(str(Path(__file__).parent))

import jack_server


@pytest.fixture(scope="session")
def jack():
    """The environment of programs that use a JACK server without a sound card."""
    why_not = jack_server.why_not()
    if why_not:
        pytest.skip(why_not)
    with jack_server.running_server() as env:
        yield env


@pytest.fixture(scope="session")
def pans(exercises: Path, tmp_path_factory: pytest.TempPathFactory) -> Arrangement:
    """The longest exercise: an introduction, sections that are alike, a repeat."""
    score = exercises / "salt-pans-night-shift.musicxml"
    return open_arrangement(score, tmp_path_factory.mktemp("cache"))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty take store."""
    with Store(tmp_path / "takes.db") as store:
        yield store
