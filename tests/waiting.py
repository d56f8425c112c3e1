"""Waiting for what another thread is to do."""

import time
from collections.abc import Callable

#: Far longer than anything takes; a busy machine must not fail a test.
PATIENCE_S = 40.0


def wait_for(done: Callable[[], object], step: Callable[[], object] = lambda: None) -> None:
    """Wait until it is so, taking a step between two looks.

    Raises:
        AssertionError: it was not in all that time.
    """
    give_up = time.monotonic() + PATIENCE_S
    while not done():
        assert time.monotonic() < give_up, "it did not happen"
        step()
        time.sleep(0.005)
