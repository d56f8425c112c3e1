"""The other hand following: it keeps with the player, waits, goes on, and stays softer."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from engine.accompany.companion import CARRY_S, Companion, Cue
from engine.accompany.remembered import remember
from engine.accompany.timing import Timing
from engine.accompany.trust import TrustedTiming
from engine.arrangement import Arrangement, Bar, ScoreNote, Span, TempoMark, whole_span

BARS = 12
LEFT, RIGHT = 48, 72


def make_page(bars: int = BARS) -> Arrangement:
    """Quarters in the right hand, sixteenths in the left, 4/4 at 120."""
    notes = []
    for k in range(bars * 16):
        at, bar = Fraction(k, 4), k // 16
        if k % 4 == 0:
            notes.append(_note(f"r{k}", at, Fraction(1), RIGHT, "right", bar))
        notes.append(_note(f"l{k}", at, Fraction(1, 4), LEFT + k % 4, "left", bar))
    notes.sort(key=lambda n: (n.onset_q, n.pitch))
    four = Fraction(4)
    made = tuple(Bar(b, str(b + 1), b, 1, four * b, four, 4, 4) for b in range(bars))
    return Arrangement("page", "", tuple(notes), made, (TempoMark(Fraction(0), 120.0),))


def _note(name: str, at: Fraction, length: Fraction, pitch: int, hand: str, bar: int) -> ScoreNote:
    return ScoreNote(name, 1, at, length, pitch, "C", 0, 4, hand, 1, "1", bar)  # type: ignore[arg-type]


def play(
    companion: Companion, onsets: list[tuple[float, float]], velocity: int = 70
) -> dict[int, Cue]:
    """Feed (place, seconds); what was played in the end, by score index."""
    done: dict[int, Cue] = {}
    pending: list[Cue] = []
    for at_q, at_s in onsets:
        done.update((c.score, c) for c in pending if c.time_s <= at_s)
        pending = companion.hear(at_q, at_s, RIGHT, velocity)
    done.update((c.score, c) for c in pending)
    return done


def errors_ms(
    page: Arrangement, done: dict[int, Cue], time_at: object, skip_q: float
) -> np.ndarray:
    """Distances of the notes between the player's own, after `skip_q`."""
    q = page.table["onset_q"]
    scores = [i for i in done if q[i] > skip_q and q[i] % 1]
    return np.array([(done[i].time_s - time_at(q[i])) * 1000 for i in scores])  # type: ignore[operator]


@pytest.fixture(scope="module")
def page() -> Arrangement:
    return make_page()


@pytest.mark.parametrize("s_per_q", [0.3, 0.5, 1.1])
def test_with_a_steady_player_every_note_is_in_its_place(page: Arrangement, s_per_q: float) -> None:
    time_at = lambda q: 3.0 + s_per_q * q  # noqa: E731
    done = play(
        Companion(page, whole_span(page), "right"), [(q, time_at(q)) for q in range(BARS * 4)]
    )
    left = [i for i, n in enumerate(page.notes) if n.hand == "left"]
    assert set(left) == set(done)
    assert np.max(np.abs(errors_ms(page, done, time_at, skip_q=4.0))) < 2.0


def test_a_slowing_player_is_not_left_behind(page: Arrangement) -> None:
    """From 120 to 65 beats a minute over twelve bars, without a stop."""
    time_at = lambda q: 0.5 * q + 0.0045 * q**2  # noqa: E731
    done = play(
        Companion(page, whole_span(page), "right"), [(q, time_at(q)) for q in range(BARS * 4)]
    )
    last_beat_ms = (time_at(48.0) - time_at(47.0)) * 1000
    assert np.max(np.abs(errors_ms(page, done, time_at, skip_q=8.0))) < 0.05 * last_beat_ms


def test_the_rubato_of_a_place_in_the_bar_is_learned(page: Arrangement) -> None:
    """The third beat of every bar is half as long again: later bars are followed better."""
    lengths = np.tile([0.5, 0.5, 0.75, 0.5], BARS)
    beats = np.concatenate([[0.0], np.cumsum(lengths)])
    time_at = lambda q: float(np.interp(q, np.arange(len(beats)), beats))  # noqa: E731
    done = play(
        Companion(page, whole_span(page), "right"), [(q, time_at(q)) for q in range(BARS * 4)]
    )
    q = page.table["onset_q"]
    third = {i: c for i, c in done.items() if q[i] % 4 > 2 and q[i] % 4 < 3}
    early = errors_ms(page, {i: c for i, c in third.items() if q[i] < 4}, time_at, 0.0)
    late = errors_ms(page, {i: c for i, c in third.items() if q[i] > 32}, time_at, 0.0)
    assert np.mean(np.abs(late)) < 0.5 * np.mean(np.abs(early))


def test_it_waits_when_the_player_waits_and_goes_on_when_they_go_on(page: Arrangement) -> None:
    companion = Companion(page, whole_span(page), "right")
    onsets = [(q, 0.5 * q) for q in range(9)]
    pending: list[Cue] = []
    for at_q, at_s in onsets:
        pending = companion.hear(at_q, at_s, RIGHT, 70)
    q = page.table["onset_q"]
    assert max(q[c.score] for c in pending) <= 9.0
    back = companion.hear(9.0, 30.0, RIGHT, 70)
    assert all(c.time_s >= 30.0 for c in back)
    between = [c for c in back if 9.0 < q[c.score] < 10.0]
    assert [round(c.time_s - 30.0, 2) for c in between] == [0.12, 0.25, 0.38]


@pytest.mark.parametrize(("s_per_q", "goes_on"), [(0.3, True), (0.5, False)])
def test_a_note_missing_in_a_run_does_not_hold_it_up_for_long(
    page: Arrangement, s_per_q: float, goes_on: bool
) -> None:
    """The player's next onset does not come: a slip in a run, or else they may be waiting."""
    companion = Companion(page, whole_span(page), "right")
    for at_q in range(9):
        cues = companion.hear(float(at_q), s_per_q * at_q, RIGHT, 70)
    q = page.table["onset_q"]
    beyond = [c for c in cues if q[c.score] > 9.0]
    assert bool(beyond) is goes_on
    assert all(c.time_s < s_per_q * 9 + CARRY_S + 0.05 for c in beyond)
    assert all(a.time_s <= b.time_s for a, b in pairwise(cues))


def test_a_late_note_of_a_chord_moves_no_time(page: Arrangement) -> None:
    companion = Companion(page, whole_span(page), "right")
    for at_q in range(9):
        before = companion.hear(float(at_q), 1.0 * at_q, RIGHT, 70)
    after = companion.hear(8.0, 8.7, RIGHT + 12, 70)
    assert [c for c in before if c.time_s > 8.7] == after


def test_a_held_tempo_is_trusted_with_a_player_who_holds_it() -> None:
    """A tempo taken anew and kept: the usual one, to which the curve returns, is no guide."""
    timing = TrustedTiming(4.0, 1.0, 0.5)
    at_s = 0.0
    for k in range(48):
        timing.hear(float(k), at_s)
        at_s += 0.5 if k < 24 else 0.8
    assert timing.weights.sum() == pytest.approx(1.0)
    held = timing.weights[1]
    last_s = at_s - 0.8
    assert timing.predict(48.0)[0][0] == pytest.approx(last_s + 0.8, abs=0.02)
    swaying = TrustedTiming(4.0, 1.0, 0.5)
    at_s = 0.0
    for k in range(48):
        swaying.hear(float(k), at_s)
        at_s += 0.5 * (1 + 0.3 * (-1) ** k)
    assert swaying.weights[1] < held


def test_when_the_player_goes_back_it_goes_back_too(page: Arrangement) -> None:
    companion = Companion(page, whole_span(page), "right")
    for at_q in range(12):
        companion.hear(float(at_q), 0.5 * at_q, RIGHT, 70)
    cues = companion.hear(4.0, 9.0, RIGHT, 70)
    q = page.table["onset_q"]
    assert {float(q[c.score]) for c in cues} <= {4.0, 4.25, 4.5, 4.75, 5.0}
    assert min(c.time_s for c in cues) == 9.0


def test_a_leap_without_a_pause_is_believed_with_the_second_note(page: Arrangement) -> None:
    """One note heard elsewhere may be a slip of hearing; two are a leap."""
    companion = Companion(page, whole_span(page), "right")
    for at_q in range(12):
        companion.hear(float(at_q), 0.5 * at_q, RIGHT, 70)
    q = page.table["onset_q"]
    other = RIGHT + 5  # a key that is not to come where they were
    doubted = companion.hear(4.0, 6.0, other, 70)
    assert all(q[c.score] > 11.0 for c in doubted)
    believed = companion.hear(5.0, 6.5, other, 70)
    assert {float(q[c.score]) for c in believed} <= {5.0, 5.25, 5.5, 5.75, 6.0}
    assert 5.0 in {float(q[c.score]) for c in believed}


def test_where_passages_are_alike_it_goes_on(page: Arrangement) -> None:
    """Said to be elsewhere, but the key is the one that was to come: nothing has leapt."""
    companion = Companion(page, whole_span(page), "right")
    for at_q in range(12):
        companion.hear(float(at_q), 0.5 * at_q, RIGHT, 70)
    q = page.table["onset_q"]
    cues = companion.hear(4.0, 6.0, RIGHT, 70)
    assert 12.0 < max(q[c.score] for c in cues) <= 13.0


def test_when_the_player_comes_early_it_catches_up(page: Arrangement) -> None:
    companion = Companion(page, whole_span(page), "right")
    for at_q in range(8):
        companion.hear(float(at_q), 0.5 * at_q, RIGHT, 70)
    cues = companion.hear(8.0, 3.74, RIGHT, 70)
    q = page.table["onset_q"]
    at_once = [float(q[c.score]) for c in cues if c.time_s <= 3.74]
    assert at_once == [7.5, 7.75, 8.0]


def test_it_is_softer_than_the_player(page: Arrangement) -> None:
    for velocity in (40, 80, 110):
        companion = Companion(page, whole_span(page), "right")
        done = play(companion, [(q, 0.5 * q) for q in range(8)], velocity)
        assert all(c.velocity <= velocity - 8 for c in done.values())


def test_a_part_of_the_other_hand_and_how_soft_can_be_chosen(page: Arrangement) -> None:
    only = [i for i, n in enumerate(page.notes) if n.pitch == LEFT + 2]
    companion = Companion(page, whole_span(page), "right", only=only, softer=30)
    done = play(companion, [(q, 0.5 * q) for q in range(8)], velocity=90)
    assert {c.pitch for c in done.values()} == {LEFT + 2}
    assert {c.velocity for c in done.values()} == {60}


def test_notes_end_after_they_begin(page: Arrangement) -> None:
    rng = np.random.default_rng(5)
    at_s = np.cumsum(rng.uniform(0.2, 0.9, 40))
    done = play(Companion(page, whole_span(page), "right"), list(zip(range(40), at_s, strict=True)))
    assert all(c.until_s > c.time_s for c in done.values())


def test_with_both_hands_playing_there_is_nothing_to_add(page: Arrangement) -> None:
    companion = Companion(page, whole_span(page), "both")
    assert companion.hear(0.0, 0.0, RIGHT, 70) == []


def test_only_the_span_is_played(page: Arrangement) -> None:
    companion = Companion(page, Span(2, 3), "right")
    done = play(companion, [(q, 0.5 * q) for q in range(8, 16)])
    q = page.table["onset_q"]
    assert min(q[i] for i in done) == 8.0
    assert max(q[i] for i in done) < 16.0


def test_an_earlier_take_is_remembered(page: Arrangement) -> None:
    """A halt nobody could foresee is met when it was there last time."""
    time_at = lambda q: 0.5 * q + (0.4 * (q - 20) if 20 < q < 21 else 0.4 * (q >= 21))  # noqa: E731
    onsets = [(q, time_at(q)) for q in range(BARS * 4)]
    q = page.table["onset_q"]
    remembered = remember([(q, np.array([time_at(x) for x in q]))])
    in_halt = lambda done: np.array(  # noqa: E731
        [abs(c.time_s - time_at(q[i])) for i, c in done.items() if 20 < q[i] < 21]
    )
    fresh = in_halt(play(Companion(page, whole_span(page), "right"), onsets))
    warm = in_halt(play(Companion(page, whole_span(page), "right", remembered=remembered), onsets))
    assert warm.mean() < 0.6 * fresh.mean()


def test_shifting_time_changes_nothing() -> None:
    one, other = Timing(4.0, 0.5), Timing(4.0, 0.5)
    rng = np.random.default_rng(2)
    for k, at_s in enumerate(np.cumsum(rng.uniform(0.4, 0.6, 30))):
        one.hear(k, at_s)
        other.hear(k, at_s + 1000.0)
    (a, sa), (b, sb) = (t.predict([30.0, 30.5]) for t in (one, other))
    assert np.allclose(b - a, 1000.0, atol=1e-6)
    assert np.allclose(sa, sb)


def test_the_further_ahead_the_less_sure() -> None:
    timing = Timing(4.0, 0.5)
    for k in range(20):
        timing.hear(k, 0.5 * k)
    _, spread = timing.predict([19.25, 19.5, 20.0, 21.0, 23.0])
    assert np.all(np.diff(spread) > 0)


def test_nothing_heard_is_said() -> None:
    with pytest.raises(ValueError, match="no onset"):
        Timing(4.0, 0.5).predict([1.0])


def test_no_takes_no_memory() -> None:
    assert remember([]) is None
    assert remember([(np.array([1.0]), np.array([2.0]))]) is None
