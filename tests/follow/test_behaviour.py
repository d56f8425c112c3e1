"""One fixture for each thing a player does."""

from __future__ import annotations

import numpy as np
import pytest

from engine.arrangement import Span
from engine.follow import Follower, align
from engine.performance import PlayedNote
from tests.follow.pages import follow, noise, note, page, play, strokes, two_hands, whats

SAID = pytest.mark.parametrize("said", [align, follow], ids=["whole", "live"])


def scores(findings: list) -> list[int | None]:
    return [f.score for f in findings if f.played is not None]


def then(first: list[PlayedNote], after: list[PlayedNote], pause_s: float) -> list[PlayedNote]:
    """Two stretches one after the other."""
    move_s = first[-1].onset_s + pause_s - after[0].onset_s
    return strokes(
        [(n.onset_s, n.pitch) for n in first] + [(n.onset_s + move_s, n.pitch) for n in after]
    )


def in_bars(arrangement, first: int, last: int) -> list[int]:
    return [k for k, n in enumerate(arrangement.notes) if first <= n.bar <= last]


@SAID
@pytest.mark.parametrize("bar", [0, 2, 4])
def test_starts_anywhere(said, bar: int) -> None:
    arrangement = two_hands()
    order = in_bars(arrangement, bar, 5)
    assert scores(said(arrangement, play(arrangement, order))) == order


@SAID
def test_stops_and_goes_on(said) -> None:
    arrangement = two_hands()
    first, after = in_bars(arrangement, 0, 1), in_bars(arrangement, 2, 4)
    notes = then(play(arrangement, first), play(arrangement, after), 4.0)
    findings = said(arrangement, notes)
    assert scores(findings) == first + after
    assert "missing" not in whats(findings)


@SAID
@pytest.mark.parametrize(("to", "pause_s"), [(1, 1.5), (0, 3.0), (4, 2.0)])
def test_jumps_and_is_right_again_within_four_notes(said, to: int, pause_s: float) -> None:
    arrangement = two_hands()
    first, after = in_bars(arrangement, 0, 2), in_bars(arrangement, to, 5)
    notes = then(play(arrangement, first), play(arrangement, after), pause_s)
    found = scores(said(arrangement, notes))
    assert found[: len(first)] == first
    assert found[len(first) + 4 :] == after[4:]
    if said is align:
        assert found == first + after


@SAID
@pytest.mark.parametrize("hand", ["left", "right"])
@pytest.mark.parametrize("told", [True, False])
def test_one_hand_alone_leaves_nothing_missing(said, hand: str, told: bool) -> None:
    arrangement = two_hands()
    order = [k for k, n in enumerate(arrangement.notes) if n.hand == hand]
    findings = said(arrangement, play(arrangement, order), hands=hand if told else None)
    assert scores(findings) == order
    missing = [f.score for f in findings if f.what == "missing"]
    assert len(missing) <= (0 if told else 2)


@SAID
def test_chords_in_any_order_and_hands_apart(said) -> None:
    rows = [
        note(q, p, hand="right" if p > 58 else "left")
        for q in range(8)
        for p in (40 + q, 52 + q, 64 + q, 71 + q)
    ]
    arrangement = page(rows)
    rng = np.random.default_rng(2)
    late = {40: 0.05, 52: 0.04, 64: 0.0, 71: 0.01}
    notes = strokes(
        [
            (r["onset"] * 0.6 + late[r["pitch"] - r["onset"]] + rng.uniform(0, 0.03), r["pitch"])
            for r in rows
        ]
    )
    findings = said(arrangement, notes)
    assert set(whats(findings)) == {"right"}
    for f, n in zip(findings, notes, strict=True):
        assert arrangement.notes[f.score].pitch == n.pitch


@SAID
@pytest.mark.parametrize("upward", [True, False])
def test_rolled_chords(said, upward: bool) -> None:
    chord = (43, 50, 59, 62, 67, 74)
    rows = [note(q, p + q % 3, arpeggiated=True) for q in range(0, 16, 2) for p in chord]
    arrangement = page(rows)
    step = {p: k if upward else 5 - k for k, p in enumerate(chord)}
    notes = strokes(
        [(r["onset"] * 0.6 + 0.08 * step[r["pitch"] - r["onset"] % 3], r["pitch"]) for r in rows]
    )
    assert set(whats(said(arrangement, notes))) == {"right"}


@SAID
def test_a_wrong_key_stands_for_its_note(said) -> None:
    arrangement = two_hands()
    notes = play(arrangement)
    at = next(k for k in range(20, 60) if arrangement.notes[k].hand == "right")
    wrong = list(notes)
    wrong[at] = PlayedNote(at, notes[at].pitch + 1, 64, notes[at].onset_s)
    findings = said(arrangement, wrong)
    assert findings[at].what == "wrong"
    assert findings[at].stands_for == at
    assert "missing" not in whats(findings)


@SAID
def test_the_same_key_twice_is_one_extra(said) -> None:
    arrangement = two_hands()
    notes = play(arrangement)
    rows = [(n.onset_s, n.pitch) for n in notes]
    rows.append((notes[30].onset_s + 0.09, notes[30].pitch))
    kinds = whats(said(arrangement, strokes(rows)))
    assert kinds.count("extra") == 1
    assert kinds.count("right") == len(notes)


@SAID
@pytest.mark.parametrize("sign", ["trill", "mordent", "inverted-mordent", "turn"])
def test_signs_played_out_are_neither_slips_nor_extra(said, sign: str) -> None:
    rows = [note(q, 60 + (q * 5) % 12) for q in range(12)]
    rows[6] = note(6, 72, ornament=sign, id="sign")
    arrangement = page(rows)
    shapes = {
        "trill": [0, 2, 0, 2, 0, 2, 0],
        "mordent": [0, -1, 0],
        "inverted-mordent": [0, 2, 0],
        "turn": [2, 0, -1, 0],
    }
    played = [(q * 0.6, 60 + (q * 5) % 12) for q in range(12) if q != 6]
    played += [(6 * 0.6 + 0.07 * i, 72 + away) for i, away in enumerate(shapes[sign])]
    findings = said(arrangement, strokes(played))
    assert set(whats(findings)) == {"right", "ornament"}
    main = arrangement.index_of["sign-1"]
    assert sum(f.score == main for f in findings) == 1
    assert {f.stands_for for f in findings if f.what == "ornament"} == {main}


@SAID
@pytest.mark.parametrize("count", [1, 2, 4])
def test_grace_notes_belong_to_the_page(said, count: int) -> None:
    rows = [note(q, 60 + (q * 5) % 12) for q in range(12)]
    rows += [note(6, 79 - i, grace="before") for i in range(count)]
    arrangement = page(rows)
    played = [(q * 0.6, 60 + (q * 5) % 12) for q in range(12)]
    played += [(6 * 0.6 - 0.06 * (count - i), 79 - i) for i in range(count)]
    assert set(whats(said(arrangement, strokes(played)))) == {"right"}
    without = strokes([(q * 0.6, 60 + (q * 5) % 12) for q in range(12)])
    assert "missing" not in [f.what for f in said(arrangement, without) if f.played is not None]


@SAID
def test_small_print_is_played_or_not(said) -> None:
    rows = [note(q, 60 + (q * 5) % 12) for q in range(12)]
    rows += [note(q, 84 + q % 5, optional=True) for q in (3, 6, 7)]
    arrangement = page(rows)
    small = {k for k, n in enumerate(arrangement.notes) if n.optional}
    assert set(whats(said(arrangement, play(arrangement)))) == {"right"}
    plain = [k for k in range(len(arrangement.notes)) if k not in small]
    findings = said(arrangement, play(arrangement, plain))
    assert scores(findings) == plain
    assert "missing" not in whats(findings)


def with_repeat():
    """Bars 1 2 | 1 2 | 3 4, unfolded, with bars 3 and 4 unlike the first two."""
    theme = [(q, 60 + (q * 7) % 12) for q in range(8)]
    rows = [note(q, p, id=f"n{i}") for i, (q, p) in enumerate(theme)]
    rows += [note(q + 8, p, id=f"n{i}") for i, (q, p) in enumerate(theme)]
    rows += [note(q + 16, 73 + (q * 5) % 12, id=f"m{q}") for q in range(8)]
    return page(rows, written=[0, 1, 0, 1, 2, 3])


@SAID
def test_a_written_repeat_taken(said) -> None:
    arrangement = with_repeat()
    findings = said(arrangement, play(arrangement))
    assert scores(findings) == list(range(24))


@SAID
def test_a_written_repeat_left_out(said) -> None:
    arrangement = with_repeat()
    played = [(q * 0.6, arrangement.notes[q].pitch) for q in range(8)]
    played += [((q + 8) * 0.6, arrangement.notes[q + 16].pitch) for q in range(8)]
    findings = said(arrangement, strokes(played))
    assert {f.what for f in findings if f.played is not None} == {"right"}
    names = [arrangement.notes[k].note_id for k in scores(findings)]
    assert names == [f"n{q}" for q in range(8)] + [f"m{q}" for q in range(8)]


@SAID
def test_missing_only_inside_what_was_played(said) -> None:
    arrangement = two_hands()
    order = in_bars(arrangement, 1, 3)
    gone = order[20]
    findings = said(arrangement, play(arrangement, [k for k in order if k != gone]))
    assert [f.score for f in findings if f.what == "missing"] == [gone]


def test_twin_places_keep_the_doubt_and_the_path() -> None:
    phrase = [60, 64, 67, 71, 72, 69, 65, 62]
    rows = [note(q, p) for q, p in enumerate(phrase)]
    rows += [note(q + 8, 50 + q) for q in range(8)]
    rows += [note(q + 16, p) for q, p in enumerate(phrase)]
    rows += [note(q + 24, 80 - q) for q in range(8)]
    arrangement = page(rows)
    follower = Follower(arrangement, span=Span(1, 7))
    for n in play(arrangement, range(4, 20)):
        follower.hear(n)
    assert follower.place.place_q == pytest.approx(19.0)
    fresh = Follower(arrangement)
    for n in play(arrangement, range(0, 3)):
        fresh.hear(n)
    assert fresh.place.place_q == pytest.approx(2.0)
    late = Follower(arrangement)
    for n in play(arrangement, [*range(8, 16), *range(0, 3)]):
        late.hear(n)
    assert not late.place.lost


@SAID
def test_a_cat_on_the_keys_is_unclear(said) -> None:
    rng = np.random.default_rng(3)
    cat = noise(rng, 150)
    kinds = whats(said(two_hands(30), cat))[:150]
    assert kinds.count("unclear") >= 120


def test_lost_is_said_and_the_place_found_again() -> None:
    arrangement = two_hands(12)
    rng = np.random.default_rng(5)
    cat = noise(rng, 80)
    follower = Follower(arrangement)
    for n in cat:
        follower.hear(n)
    assert follower.place.lost
    order = in_bars(arrangement, 3, 9)
    for n in then(cat, play(arrangement, order), 2.0)[len(cat) :]:
        follower.hear(n)
    assert not follower.place.lost
    assert follower.place.place_q == pytest.approx(float(arrangement.notes[order[-1]].onset_q))


@SAID
@pytest.mark.parametrize("pace", [0.34, 0.7, 1.5])
def test_any_tempo_and_one_that_changes(said, pace: float) -> None:
    arrangement = two_hands(8)
    q = np.array([float(n.onset_q) for n in arrangement.notes])
    bend = np.cumsum(
        np.concatenate([[0], np.diff(q) * 0.6 / pace * (1 + 0.35 * np.sin(q[1:] / 4))])
    )
    notes = strokes([(float(s), n.pitch) for s, n in zip(bend, arrangement.notes, strict=True)])
    findings = said(arrangement, notes)
    assert set(whats(findings)) == {"right"}


@SAID
def test_hesitations_are_no_jumps(said) -> None:
    arrangement = two_hands()
    notes = play(arrangement)
    halts = {20: 1.5, 41: 3.0}
    moved, add_s = [], 0.0
    for n in notes:
        add_s += halts.get(n.index, 0.0)
        moved.append((n.onset_s + add_s, n.pitch))
    findings = said(arrangement, strokes(moved))
    assert set(whats(findings)) == {"right"}


def test_a_whole_take_keeps_the_doubt_between_like_places() -> None:
    phrase = [60, 64, 67, 71, 72, 69, 65, 62]
    rows = [note(q, p) for q, p in enumerate(phrase)]
    rows += [note(q + 8, 50 + q) for q in range(8)]
    rows += [note(q + 16, p) for q, p in enumerate(phrase)]
    rows += [note(q + 24, 80 - q) for q in range(8)]
    arrangement = page(rows)
    alike = align(arrangement, play(arrangement, range(8)))
    assert [f.alternatives for f in alike] == [(k + 16,) for k in range(8)]
    assert all(f.certainty == 0.5 for f in alike)
    parted = align(arrangement, play(arrangement, range(16, 28)))
    assert [f.score for f in parted] == list(range(16, 28))
    assert all(f.alternatives == () for f in parted)


@SAID
def test_small_print_left_out_is_not_missed(said) -> None:
    rng = np.random.default_rng(9)
    rows = [note(q, int(rng.choice([75, 75, 75, 77, 80]))) for q in range(60)]
    rows += [
        note(q + k / 6, low + (q * 5) % 12 + k, duration=1 / 6, hand=hand, optional=True)
        for q in range(60)
        for k in range(6)
        for low, hand in ((40, "left"), (56, "right"))
    ]
    arrangement = page(rows)
    order = [k for k, n in enumerate(arrangement.notes) if not n.optional]
    findings = said(arrangement, play(arrangement, order))
    assert scores(findings) == order
    assert set(whats(findings)) == {"right"}
