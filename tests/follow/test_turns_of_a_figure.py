"""Figures struck in another order than written, and trills: the place is not lost over them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from engine.arrangement import Arrangement
from engine.follow import Follower, align
from engine.performance import PlayedNote
from tests.follow.pages import follow, note, page, play, strokes, two_hands, whats

SAID = pytest.mark.parametrize("said", [align, follow], ids=["whole", "live"])
#: Melody and figure of a bar of four beats; the figure's two inner notes.
TUNE, INNER = (74, 72, 71, 72), (64, 67)


def _bars(first: int, exchanged: bool) -> list[dict]:
    """Four bars: a tune over a figure; in the second bar its inner notes may be exchanged."""
    rows = []
    for bar in range(first, first + 4):
        for beat, top in enumerate(TUNE):
            onset = bar * 4 + beat
            inner = INNER[::-1] if exchanged and bar == first + 1 else INNER
            step = (bar - first) * 2
            rows.append(note(onset, top + step, duration=1 / 3))
            for k, pitch in enumerate(inner):
                rows.append(note(onset + (k + 1) / 3, pitch + step, duration=1 / 3))
            rows.append(note(onset, 43 + step + beat, hand="left"))
    return rows


def _other(first: int) -> list[dict]:
    rng = np.random.default_rng(2)
    pitches = rng.integers(55, 80, 16).tolist()
    return [note(first * 4 + k, p) for k, p in enumerate(pitches)]


def _three_parts() -> Arrangement:
    return page(_bars(0, exchanged=False) + _other(4) + _bars(8, exchanged=True) + _other(12))


def _as_before(arrangement: Arrangement) -> list[PlayedNote]:
    """Played through, the return's figure in the order of the beginning, after a breath."""
    rows = []
    for n in arrangement.notes:
        q = float(n.onset_q)
        place = round(q % 1 * 3)
        if 36 <= q < 40 and place:
            q += 1 / 3 if place == 1 else -1 / 3
        rows.append((1.0 + q * 0.5 + (0.6 if q >= 32 else 0.0), n.pitch))
    return strokes(rows)


@SAID
def test_a_return_played_as_the_beginning_is_still_the_return(said) -> None:
    arrangement = _three_parts()
    played = _as_before(arrangement)
    findings = [f for f in said(arrangement, played) if f.played is not None]
    places = [float(arrangement.notes[f.score].onset_q) for f in findings if f.score is not None]
    due = [(n.onset_s - 1.0 - (0.6 if n.onset_s > 17.0 else 0.0)) / 0.5 for n in played]
    assert len(places) == len(played)
    assert max(abs(a - b) for a, b in zip(places, due, strict=True)) < 0.5


@SAID
def test_one_pair_in_the_other_order_is_right_and_what_follows_too(said) -> None:
    arrangement = page(_bars(0, exchanged=False))
    order = [n.onset_q for n in arrangement.notes]
    rows = [(1.0 + float(q) * 0.5, n.pitch) for q, n in zip(order, arrangement.notes, strict=True)]
    early, late = (next(k for k, q in enumerate(order) if q * 3 == 16 + i) for i in (0, 1))
    rows[early], rows[late] = (rows[late][0], rows[early][1]), (rows[early][0], rows[late][1])
    findings = said(arrangement, strokes(rows))
    assert set(whats(findings)) == {"right"}
    expected = list(range(len(rows)))
    expected[early], expected[late] = late, early
    assert [f.score for f in findings if f.played is not None] == expected


def _trill(ornament: str) -> Arrangement:
    rows = [note(q, 60 + (q * 5) % 7) for q in range(8)]
    rows += [
        note(8 + k / 8, (74, 76)[k % 2], duration=1 / 8, ornament=ornament if k == 0 else "")
        for k in range(16)
    ]
    return page(rows + [note(10 + q, 65 + (q * 3) % 8) for q in range(6)])


@SAID
@pytest.mark.parametrize("count", [8, 16, 40])
def test_a_trill_written_out_takes_as_many_strokes_as_the_player_likes(said, count: int) -> None:
    arrangement = _trill("")
    rows = [(n.onset_s, n.pitch) for n in play(arrangement) if not 5.75 < n.onset_s < 6.95]
    rows += [(5.8 + k * 1.2 / count, (74, 76)[k % 2]) for k in range(count)]
    findings = said(arrangement, strokes(rows))
    assert set(whats(findings)) <= {"right", "ornament"}
    after = [f.score for f in findings if f.played is not None][-6:]
    assert after == list(range(24, 30))


def test_a_sign_ends_with_its_note() -> None:
    arrangement = page([
        *(note(q, 60 + (q * 5) % 7) for q in range(8)),
        note(8, 74, duration=2, ornament="trill"),
        *(note(10 + 2 * q, 72 + q % 2 * 2, duration=2) for q in range(6)),
    ])  # fmt: skip
    follower = Follower(arrangement)
    notes = play(arrangement)
    said = {f.played: f for n in notes for f in follower.hear(n)}
    assert [said[n.index].score for n in notes[9:12]] == [9, 10, 11]


@SAID
def test_a_figure_in_small_print_that_is_played_is_not_skipped_over_a_halt(said) -> None:
    figure = (44, 51, 56, 60, 56, 51)
    rows = [
        note(q + k / 6, pitch, duration=1 / 6, hand="left", optional=k > 0)
        for q in range(12)
        for k, pitch in enumerate(figure)
    ]
    rows += [note(12 + k / 6, 40 + k, duration=1 / 6, hand="left", optional=True) for k in range(9)]
    arrangement = page(rows)
    even = [(n.onset_s, n.pitch) for n in play(arrangement)]
    halted = [(s + (0.4 if k > 36 else 0.0), p) for k, (s, p) in enumerate(even)]
    findings = said(arrangement, strokes(halted))
    assert [f.score for f in findings if f.played is not None] == list(range(len(rows)))


@SAID
@pytest.mark.parametrize(("alter", "ornaments"), [(-2, 7), (-1, 0)])
def test_a_trill_on_a_double_flat_may_reach_three_semitones(said, alter, ornaments) -> None:
    rows = [note(q, 60 + (q * 5) % 7) for q in range(8)]
    rows += [note(8, 69, duration=2, ornament="trill")]
    rows += [note(10 + q, 50 + (q * 3) % 8) for q in range(6)]
    arrangement = page(rows)
    spelled = replace(arrangement.notes[8], step="B", alter=alter)
    arrangement = replace(
        arrangement, notes=(*arrangement.notes[:8], spelled, *arrangement.notes[9:])
    )
    played = [(n.onset_s, n.pitch) for n in play(arrangement)]
    played += [(played[8][0] + 0.08 * k, 72 if k % 2 else 69) for k in range(1, 14)]
    findings = [f for f in said(arrangement, strokes(played)) if f.played is not None]
    trilled = [f for f in findings if strokes(played)[f.played].pitch == 72]
    assert sum(f.what == "ornament" for f in trilled) == ornaments


@SAID
def test_strokes_that_begin_together_share_the_pause_before_them(said) -> None:
    arrangement = two_hands(bars=8)
    first, again = (
        [k for k, n in enumerate(arrangement.notes) if n.bar in bars] for bars in ((5, 6), (1, 2))
    )
    played = [(n.onset_s, n.pitch) for n in play(arrangement, first)]
    after = [(n.onset_s, n.pitch) for n in play(arrangement, again)]
    move_s = played[-1][0] + 2.0 - after[0][0]
    lowest = min(p for s, p in after if s == after[0][0])
    rows = played + [(s + move_s, p) for s, p in after]
    brushed = (after[0][0] + move_s - 0.02, lowest + 1)
    findings = [f for f in said(arrangement, strokes([*rows, brushed])) if f.played is not None]
    assert [f.score for f in findings] == [*first, None, *again]
