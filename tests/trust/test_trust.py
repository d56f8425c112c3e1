"""A short run of each fault; `python -m tests.trust` is the long one."""

from __future__ import annotations

from tests.trust.floods import flood_all
from tests.trust.fuzz import bend_files
from tests.trust.kills import kill_at_random
from tests.trust.verdict import Verdict


def test_a_killed_process_loses_no_more_than_what_came_last():
    # Half a minute instead of the second: here it shall not matter how busy the machine is.
    verdict = kill_at_random(2, seed=3, most_s=30.0)
    assert verdict.passed, verdict


def test_a_fault_that_was_never_tried_is_not_survived():
    assert not Verdict("nothing done", 0, 0).passed
    assert not Verdict("one lost", 2, 1).passed


def test_bent_files_end_in_an_arrangement_or_one_line():
    for verdict in bend_files(300, seed=2):
        assert verdict.passed, verdict


def test_floods_are_weathered():
    for verdict in flood_all(0.02, seed=4):
        assert verdict.passed, verdict
