"""Pages of every kind that is tried at its largest, here small; `python -m tests.trust.largest`."""

from __future__ import annotations

import pytest

from engine.read import read_score_bytes
from tests.trust.fuzz import MOST_S
from tests.trust.largest import largest_files, read_largest, verdict_on

SMALL = [f for f in largest_files(0.03) if f[0] != "recording"]


@pytest.mark.parametrize("file", SMALL, ids=[f"{form}: {what}" for form, what, *_ in SMALL])
def test_each_is_a_page_that_is_read(file: tuple[str, str, bytes, bytes]) -> None:
    _, _, data, sidecar = file
    page = read_score_bytes(data, "small", sidecar)
    assert page.notes
    assert page.form.sections


def test_they_are_read_apart_and_a_refusal_or_a_long_time_is_told() -> None:
    assert all(v.passed and v.tried for v in read_largest(0.02, "keys"))
    quick, slow = (0.2, "chords", "9 notes"), (MOST_S + 1, "graces", "9 notes")
    assert verdict_on("MIDI", [quick]).passed
    assert "chords" in verdict_on("MIDI", [quick]).lost
    for bad in (slow, (0.1, "words", "refused: too long"), (0.0, "rests", "ended with -9")):
        told = verdict_on("MIDI", [quick, bad])
        assert (told.tried, told.survived) == (2, 1)
        assert bad[1] in told.lost
