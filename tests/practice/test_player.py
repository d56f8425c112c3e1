"""The simulated pianist: what is asked for is what is played, by plain formulas."""

from __future__ import annotations

import ast
import itertools
from dataclasses import fields, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from engine.arrangement import Arrangement, Bar, ScoreNote, Span, TempoMark, whole_span
from engine.performance import KeyEvent, PlayedNote, pair_notes
from engine.read import read_arrangement
from practice.player import (
    CHARACTERS,
    Character,
    Pedalling,
    SlipShares,
    perform,
    perform_with_truth,
)
from practice.player.slips import KIND_OF


@pytest.fixture(scope="module")
def drone() -> Arrangement:
    """4,000 even sixteenths in the left hand, no pedal: 250 bars of 4/4 at quarter = 60."""
    bars = tuple(Bar(k, str(k + 1), k, 1, Fraction(4 * k), Fraction(4), 4, 4) for k in range(250))
    cell = [39, 46, 53, 54]
    names = {39: ("E", -1, 2), 46: ("B", -1, 2), 53: ("F", 0, 3), 54: ("G", -1, 3)}
    notes = tuple(
        ScoreNote(
            f"n{k}", 1, Fraction(k, 4), Fraction(1, 4), cell[k % 4], *names[cell[k % 4]],
            hand="left", staff=2, voice="1", bar=k // 16,
        )
        for k in range(4000)
    )  # fmt: skip
    return Arrangement("drone", "", notes, bars, (TempoMark(Fraction(0), 60.0),), fifths=-6)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def play(arrangement: Arrangement, character: Character, seed: int = 1) -> tuple[PlayedNote, ...]:
    return pair_notes(perform(arrangement, character, rng(seed))).notes


def test_a_perfect_character_gives_every_note_exactly(pans: Arrangement) -> None:
    performance = perform_with_truth(pans, CHARACTERS["steady"], rng())
    notes = pair_notes(list(performance.events)).notes
    assert performance.missing == ()
    assert sorted(t.score for t in performance.truth) == list(range(len(pans.notes)))
    for truth, note in zip(performance.truth, notes, strict=True):
        written = pans.notes[truth.score]
        assert note.pitch == written.pitch
        assert note.onset_s == pytest.approx(float(pans.table["onset_s"][truth.score]))
        assert note.release_s <= note.onset_s + float(pans.table["duration_s"][truth.score]) + 1e-9


def test_the_truth_counts_note_ons_as_the_recording_does(pans: Arrangement) -> None:
    performance = perform_with_truth(pans, CHARACTERS["hurried"], rng(3))
    notes = pair_notes(list(performance.events)).notes
    assert [t.played for t in performance.truth] == [n.index for n in notes]
    right = [
        (pans.notes[t.score].pitch, n.pitch)
        for t, n in zip(performance.truth, notes, strict=True)
        if t.what == "right"
    ]
    assert all(written == played for written, played in right)


def test_every_written_note_is_right_wrong_or_missing_once_without_restarts(
    pans: Arrangement,
) -> None:
    performance = perform_with_truth(pans, replace(CHARACTERS["hurried"], restarts=0.0), rng(4))
    struck = [t.score for t in performance.truth if t.what == "right"]
    wrong = [t.stands_for for t in performance.truth if t.what == "wrong"]
    assert sorted([*struck, *wrong, *performance.missing]) == list(range(len(pans.notes)))


@pytest.mark.parametrize("name", sorted(CHARACTERS))
def test_the_same_seed_plays_the_same_and_another_does_not(pans: Arrangement, name: str) -> None:
    character = CHARACTERS[name]
    assert perform(pans, character, rng(5)) == perform(pans, character, rng(5))
    assert name == "steady" or perform(pans, character, rng(5)) != perform(pans, character, rng(6))


@pytest.mark.parametrize("name", sorted(CHARACTERS))
def test_events_are_in_order_and_leave_no_key_down(pans: Arrangement, name: str) -> None:
    events = perform(pans, CHARACTERS[name], rng(7))
    assert all(a.time_s <= b.time_s for a, b in itertools.pairwise(events))
    down: set[int] = set()
    for event in events:
        kind, key = event.data[0] & 0xF0, event.data[1]
        if kind == 0x90:
            assert key not in down
            down.add(key)
        elif kind == 0x80:
            down.remove(key)
    assert not down
    assert [e.data[2] for e in events if e.data[0] == 0xB0][-1] == 0


def test_timekeeper_and_finger_are_recovered_from_the_lag_one_covariance(
    drone: Arrangement,
) -> None:
    """Wing and Kristofferson 1973: gamma(1) = -sd_D^2 and gamma(0) + 2 gamma(1) = sd_C^2."""
    notes = play(drone, Character(timekeeper_sd_ms=8.0, finger_sd_ms=5.0))
    intervals = np.diff([n.onset_s for n in notes]) * 1000
    gamma0, gamma1 = np.cov(intervals[:-1], intervals[1:])[0]
    assert np.sqrt(-gamma1) == pytest.approx(5.0, rel=0.1)
    assert np.sqrt(gamma0 + 2 * gamma1) == pytest.approx(8.0, rel=0.1)


def test_correction_keeps_the_player_with_the_pulse(drone: Arrangement) -> None:
    """With gain a the asynchrony is AR(1) with sd_C^2 / (1 - (1 - a)^2)."""
    notes = play(drone, Character(timekeeper_sd_ms=8.0, correction=0.25))
    late = (np.array([n.onset_s for n in notes]) - np.arange(4000) / 4) * 1000
    assert np.std(late) == pytest.approx(8.0 / np.sqrt(1 - 0.75**2), rel=0.1)


def test_tempo_rate_and_start_are_what_was_asked(drone: Arrangement) -> None:
    events = perform(drone, Character(tempo=0.5), rng(), start_s=10.0, rate=0.8, span=Span(1, 2))
    onsets = [n.onset_s for n in pair_notes(events).notes]
    assert onsets[0] == pytest.approx(10.0)
    assert np.diff(onsets) == pytest.approx(0.25 / 0.4)
    assert len(onsets) == 32


def test_drift_shortens_the_intervals_as_asked(drone: Arrangement) -> None:
    """6 % a minute over the sixteen minutes: the log of the interval falls by 0.06 a minute."""
    intervals = np.diff([n.onset_s for n in play(drone, Character(drift_percent_per_min=6.0))])
    slope = np.polyfit(np.arange(len(intervals)) * 0.25 / 60, np.log(intervals), 1)[0]
    assert slope == pytest.approx(-0.06, rel=0.01)


def test_rubato_has_the_sd_asked(drone: Arrangement) -> None:
    intervals = np.diff([n.onset_s for n in play(drone, Character(rubato=0.05))])
    assert np.std(np.log(intervals)) == pytest.approx(0.05, rel=0.05)


def test_loudness_has_the_level_and_the_scatter_asked(drone: Arrangement) -> None:
    velocities = [n.velocity for n in play(drone, Character(level=70, level_sd=6))]
    assert np.mean(velocities) == pytest.approx(70, abs=0.5)
    assert np.std(velocities) == pytest.approx(6, rel=0.05)


def test_lead_balance_split_and_spread_are_recovered(pans: Arrangement) -> None:
    character = Character(
        lead_ms=20, right_over=15, top_over=5, split_ms=6, spread_sd_ms=4, level_sd=1
    )
    performance = perform_with_truth(pans, character, rng(2))
    notes = pair_notes(list(performance.events)).notes
    onset = {t.score: n.onset_s for t, n in zip(performance.truth, notes, strict=True)}
    loud = {t.score: n.velocity for t, n in zip(performance.truth, notes, strict=True)}
    table = pans.table
    pairs = [
        (i, j)
        for i, j in zip(range(len(pans.notes)), range(1, len(pans.notes)), strict=False)
        if table["hand"][i] == table["hand"][j] == 1 and table["onset_q"][i] == table["onset_q"][j]
    ]
    splits = np.array([onset[low] - onset[high] for low, high in pairs]) * 1000
    assert np.mean(splits) == pytest.approx(6, abs=3 * 4 * np.sqrt(2 / len(pairs)))
    assert np.std(splits) == pytest.approx(4 * np.sqrt(2), rel=0.2)
    marked = {i: float(table["onset_s"][i]) for i in onset}
    early = [marked[i] - at for i, at in onset.items() if pans.notes[i].hand == "right"]
    assert np.mean(early) * 1000 == pytest.approx(20, abs=1)
    high = np.mean([loud[j] for _, j in pairs])
    low = np.mean([loud[i] for i, _ in pairs])
    left = np.mean([v for i, v in loud.items() if pans.notes[i].hand == "left"])
    assert (high - low, low - left) == (pytest.approx(5, abs=0.4), pytest.approx(15, abs=0.4))


@pytest.mark.parametrize("share", [f.name for f in fields(SlipShares)])
def test_each_kind_of_slip_comes_with_its_share_and_its_truth(
    pans: Arrangement, share: str
) -> None:
    character = Character(slips=SlipShares(**{share: 0.2}))
    performance = perform_with_truth(pans, character, rng(8))
    if share == "left_out":
        assert len(performance.missing) / len(pans.notes) == pytest.approx(0.2, abs=0.04)
        return
    made = [t for t in performance.truth if t.kind]
    assert {t.kind for t in made} == {KIND_OF[share]}
    assert {t.what for t in made} == {
        "extra" if share in ("added", "doubled", "brushed") else "wrong"
    }
    assert all(t.score is None for t in made)
    if share in ("neighbour", "added", "doubled", "brushed"):  # those that every note allows
        assert len(made) / len(pans.notes) == pytest.approx(0.2, abs=0.04)


def test_a_missed_accidental_is_the_signature_s_note_or_the_plain_one(pans: Arrangement) -> None:
    character = Character(slips=SlipShares(accidental=1.0))
    performance = perform_with_truth(pans, character, rng(9))
    notes = pair_notes(list(performance.events)).notes
    played = {
        pans.notes[t.stands_for].name: notes[t.played].pitch - pans.notes[t.stands_for].pitch
        for t in performance.truth
        if t.what == "wrong"
    }
    assert played["Bbb5"] == 1  # B flat for B double flat: the flat read once
    assert played["Fb2"] == 1  # F, as the signature has it
    assert played["Eb5"] == 1  # E, the signature forgotten
    assert "F3" not in played


def test_a_twin_is_taken_where_passages_part(pans: Arrangement) -> None:
    """In bar 18 the line goes to B flat where bar 10 goes to A flat (and bar 34 to G flat)."""
    character = Character(slips=SlipShares(twin=1.0))
    performance = perform_with_truth(pans, character, rng(10))
    bars = {
        pans.bars[pans.notes[t.stands_for].bar].number
        for t in performance.truth
        if t.what == "wrong" and pans.notes[t.stands_for].hand == "right"
    }
    assert {"10", "18"} <= bars
    assert not bars & {"1", "2", "3", "4", "5", "6", "7"}


def test_restarts_go_back_to_the_start_of_a_bar_and_play_it_again(pans: Arrangement) -> None:
    character = Character(restarts=0.01, restart_bars=2)
    performance = perform_with_truth(pans, character, rng(11))
    notes = pair_notes(list(performance.events)).notes
    order = [t.score for t in performance.truth]
    at_q = np.array([float(pans.notes[i].onset_q) for i in order])
    backs = np.flatnonzero(np.diff(at_q) < 0)
    assert len(backs) > 2
    for k in backs:
        again = pans.notes[order[k + 1]]
        assert again.onset_q == pans.bars[again.bar].onset_q
        assert 0 <= pans.notes[order[k]].bar - again.bar <= 2
        assert notes[k + 1].onset_s - notes[k].onset_s > 0.5
    assert set(order) == set(range(len(pans.notes)))


def test_hesitations_have_their_share_and_length(drone: Arrangement) -> None:
    """The median of a log-normal is its scale."""
    notes = play(drone, Character(hesitations=0.1, hesitation_s=0.8))
    halts = np.diff([n.onset_s for n in notes]) - 0.25
    halts = halts[halts > 1e-6]
    assert len(halts) / 3999 == pytest.approx(0.1, abs=0.02)
    assert np.median(halts) == pytest.approx(0.8, rel=0.15)


def test_hands_separately_plays_one_hand(pans: Arrangement) -> None:
    events = perform_with_truth(pans, Character(), rng(), hands="left")
    assert {pans.notes[t.score].hand for t in events.truth} == {"left"}
    assert len(events.truth) == sum(n.hand == "left" for n in pans.notes)


def damper(events: list[KeyEvent]) -> list[tuple[float, int]]:
    return [(e.time_s, e.data[2]) for e in events if e.data[:2] == bytes([0xB0, 64])]


def test_written_pedal_is_changed_after_the_new_harmony(exercises: Path) -> None:
    evaporation = read_arrangement(exercises / "evaporation.musicxml")
    pedalling = Pedalling(release_ms=55, press_ms=213)
    moves = damper(perform(evaporation, Character(pedalling=pedalling), rng()))
    changes = [float(p.up_q) for p in evaporation.pedals[:-1]]
    at_s = evaporation.seconds_at(changes)
    ups = [at for at, value in moves if value == 0][:-1]
    downs = [at for at, value in moves if value == 127][1:]
    assert ups == pytest.approx(at_s + 0.055)
    assert downs == pytest.approx(at_s + 0.213)


def test_forgotten_changes_and_slips_of_the_foot(exercises: Path) -> None:
    evaporation = read_arrangement(exercises / "evaporation.musicxml")
    kept = damper(perform(evaporation, Character(pedalling=Pedalling(missed=1.0)), rng()))
    assert [value for _, value in kept] == [127, 0]
    broken = damper(perform(evaporation, Character(pedalling=Pedalling(broken_per_min=60)), rng()))
    assert len(broken) > 2 * len(evaporation.pedals)
    assert [value for _, value in broken] == [127, 0] * (len(broken) // 2)


def test_legato_pedalling_changes_on_every_bar(drone: Arrangement) -> None:
    moves = damper(perform(drone, Character(pedalling=Pedalling("legato")), rng()))
    assert len(moves) == 2 * len(drone.bars)


def test_signs_are_played_out_and_say_whose_they_are(drone: Arrangement) -> None:
    """Each sign on one note of two seconds: E flat 2, in six flats."""
    for sign, expected in (
        ("mordent", [39, 37, 39]), ("inverted-mordent", [39, 41, 39]),
        ("turn", [41, 39, 37, 39]), ("inverted-turn", [37, 39, 41, 39]),
    ):  # fmt: skip
        note = replace(drone.notes[0], duration_q=Fraction(2), ornament=sign)
        one = replace(drone, notes=(note,), bars=drone.bars[:1])
        performance = perform_with_truth(one, Character(), rng())
        notes = pair_notes(list(performance.events)).notes
        assert [n.pitch for n in notes] == expected
        assert [t.score for t in performance.truth].count(0) == 1
        assert all(t.ornament_of == 0 for t in performance.truth if t.what == "ornament")
    trill = replace(drone.notes[0], duration_q=Fraction(2), ornament="trill")
    one = replace(drone, notes=(trill,), bars=drone.bars[:1])
    pitches = [n.pitch for n in play(one, Character(trill_per_s=10.0))]
    assert pitches == [39, 41] * 9 + [39]


def test_a_sign_at_the_end_of_the_keys_is_played_on_the_note_itself(drone: Arrangement) -> None:
    """MIDI 1.0 has keys from 0, a C, to 127, a G."""
    for pitch, step, octave, sign in ((127, "G", 9, "inverted-mordent"), (0, "C", -1, "mordent")):
        note = replace(
            drone.notes[0], duration_q=Fraction(2), ornament=sign,
            pitch=pitch, step=step, alter=0, octave=octave,
        )  # fmt: skip
        one = replace(drone, notes=(note,), bars=drone.bars[:1])
        assert [n.pitch for n in play(one, Character())] == [pitch] * 3


def test_a_unison_of_two_notes_is_struck_once(drone: Arrangement) -> None:
    first = drone.notes[0]
    pair = (replace(first, unison=0), replace(first, note_id="x", hand="right", unison=0))
    both = replace(drone, notes=pair, bars=drone.bars[:1])
    assert len(play(both, Character())) == 1
    right = perform_with_truth(both, Character(), rng(), hands="right")
    assert [t.score for t in right.truth] == [1]


def test_shares_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="at most 1"):
        SlipShares(neighbour=0.7, octave=0.7)


def test_an_empty_span_is_silence(drone: Arrangement) -> None:
    silent = replace(drone, notes=())
    assert perform(silent, CHARACTERS["demo"], rng(), span=whole_span(silent)) == []


def test_the_player_knows_nothing_of_the_rooms_it_tests() -> None:
    folder = Path(__file__).parents[2] / "practice" / "player"
    modules = {
        node.module
        for path in folder.glob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("engine")
    }
    assert modules == {"engine.arrangement", "engine.performance"}
