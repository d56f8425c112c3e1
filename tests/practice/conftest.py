"""Fixtures of the shell's tests."""

import sys
from pathlib import Path

import pytest

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
