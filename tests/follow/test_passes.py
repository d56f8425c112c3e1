"""A stretch of practising comes back as a true list of passes."""

from __future__ import annotations

import math

import numpy as np
import pytest

from engine.follow import align, find_passes
from practice.player import CHARACTERS
from tests.bench.takes import simulated_take, splice_rehearsal
from tests.follow.pages import noise, note, page, play, strokes, two_hands


def test_one_playing_is_one_pass_with_its_tempo() -> None:
    arrangement = two_hands()
    (one,) = find_passes(arrangement, play(arrangement, s_per_q=0.75))
    assert (one.first, one.last) == (0, len(arrangement.notes) - 1)
    assert (one.from_q, one.to_q) == (0.0, float(arrangement.notes[-1].onset_q))
    assert one.hands == "both"
    assert one.tempo_qpm == pytest.approx(80.0)
    assert one.reached_end


def test_a_stop_ends_a_pass_but_a_long_note_does_not() -> None:
    rows = [note(q, 60 + (q * 5) % 12) for q in range(8)]
    rows += [note(16 + q, 62 + (q * 7) % 12) for q in range(8)]
    arrangement = page(rows)
    assert len(find_passes(arrangement, play(arrangement))) == 1
    halting = strokes(
        [(n.onset_s + (3.5 if n.index >= 5 else 0.0), n.pitch) for n in play(arrangement)]
    )
    found = find_passes(arrangement, halting)
    assert [(p.first, p.last) for p in found] == [(0, 4), (5, 15)]
    assert not found[0].reached_end


@pytest.mark.parametrize("hand", ["left", "right"])
def test_one_hand_is_told(hand: str) -> None:
    arrangement = two_hands()
    order = [k for k, n in enumerate(arrangement.notes) if n.hand == hand]
    (one,) = find_passes(arrangement, play(arrangement, order))
    assert one.hands == hand


def test_a_spliced_rehearsal_comes_back_as_it_was_spliced() -> None:
    arrangement = two_hands(24)
    rng = np.random.default_rng(11)
    take = simulated_take("x", arrangement, CHARACTERS["steady"], rng)
    spliced = splice_rehearsal(take, arrangement, rng, parts=7)
    found = find_passes(arrangement, spliced.notes)
    # Going on where one stopped, after too short a halt to be a stop, joins two parts.
    joined = [
        k
        for k in range(1, len(spliced.parts))
        if 0.0 < spliced.parts[k].from_q - spliced.parts[k - 1].to_q <= 4.0
    ]
    firsts = [p.first for k, p in enumerate(spliced.parts) if k not in joined]
    assert set(firsts) <= {p.first for p in found}
    assert len(found) <= len(spliced.parts)
    for one in found:
        part = max(k for k, p in enumerate(spliced.parts) if p.first <= one.first)
        assert one.from_q == pytest.approx(spliced.parts[part].from_q)


def test_a_repeat_left_out_is_still_one_pass() -> None:
    theme = [(q, 60 + (q * 7) % 12) for q in range(8)]
    rows = [note(q + k * 8, p, id=f"n{q}") for k in range(2) for q, p in theme]
    rows += [note(q + 16, 73 + (q * 5) % 12, id=f"m{q}") for q in range(8)]
    arrangement = page(rows, written=[0, 1, 0, 1, 2, 3])
    order = [*range(8), *range(16, 24)]
    played = strokes([(i * 0.6, arrangement.notes[k].pitch) for i, k in enumerate(order)])
    assert len(find_passes(arrangement, played)) == 1


def test_noise_is_no_pass_and_too_little_has_no_tempo() -> None:
    arrangement = two_hands(30)
    rng = np.random.default_rng(3)
    cat = noise(rng, 100)
    assert find_passes(arrangement, cat, align(arrangement, cat)) == []
    chord = page([note(0, p) for p in (48, 55, 64, 72)] + [note(4, 50)])
    (one,) = find_passes(
        chord, strokes([(1.0 + k / 100, p) for k, p in enumerate((48, 55, 64, 72))])
    )
    assert math.isnan(one.tempo_qpm)
