"""What is said of a pass: marks on the page, lines of the Account, slips and advice in words."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache
from types import SimpleNamespace

import pytest

from engine.arrangement import Span
from engine.findings import Estimate, Finding, Slip, no_estimate
from engine.performance import PlayedNote
from practice.snapshot import PassRecord
from practice.window.advice import advise
from practice.window.heard import TAIL, HeardNotes
from practice.window.ledger import LINES, best_at_tempo, is_real_change, read_line, read_value
from practice.window.marks import read_marks, steps_between
from practice.window.slip_words import slips_in_words
from tests.window.staging import faulty, passed, read_exercise

SPAN = Span(4, 12)


@cache
def record() -> PassRecord:
    return passed(read_exercise(), SPAN, character=faulty())


def test_every_right_note_has_a_mark_and_every_slip_its_shape():
    marks = read_marks(read_exercise(), (record(),))
    right = {f.score for f in record().findings if f.what == "right"}
    assert {m.score for m in marks.timing} == right
    missing = {f.score for f in record().findings if f.what == "missing"}
    assert {m.score for m in marks.slips if m.kind == "missing"} == missing


def test_an_average_is_the_mean_and_shows_only_what_came_twice():
    one = record()
    slower = replace(one, deviations_ms=tuple(d + 10 for d in one.deviations_ms))
    single = {m.score: m.deviation_ms for m in read_marks(read_exercise(), (one,)).timing}
    both = {m.score: m for m in read_marks(read_exercise(), (one, slower)).timing}
    for score, deviation in single.items():
        if not math.isnan(deviation):
            assert both[score].deviation_ms == pytest.approx(deviation + 5)
    other = passed(read_exercise(), SPAN, seed=9, character=faulty())
    for slip in read_marks(read_exercise(), (one, other)).slips:
        assert slip.times == 2


def test_steps_go_by_letters_not_by_keys():
    arrangement = read_exercise()
    note = next(k for k, n in enumerate(arrangement.notes) if n.step == "B" and n.alter == -2)
    octave = arrangement.notes[note].octave
    assert steps_between(arrangement, note, f"A{octave}") == -1  # the same key, another line
    assert steps_between(arrangement, note, f"Bbb{octave}") == 0
    assert steps_between(arrangement, note, f"C{octave + 1}") == 1
    assert steps_between(arrangement, note, f"B{octave - 1}") == -7


def test_heard_notes_follow_revisions():
    heard = HeardNotes()
    findings = tuple(Finding(k, k, "right") for k in range(5))
    heard.update(findings)
    assert heard.right_among(range(10)) == {0, 1, 2, 3, 4}
    heard.update((*findings[:4], Finding(4, None, "extra"), Finding(5, 6, "right")))
    assert heard.right_among(range(10)) == {0, 1, 2, 3, 6}
    heard.update(())
    assert heard.right_among(range(10)) == frozenset()


def test_heard_notes_at_once_and_one_by_one_agree():
    findings = tuple(Finding(k, k % 400, "right") for k in range(3 * TAIL))
    slowly, at_once = HeardNotes(), HeardNotes()
    for k in range(1, len(findings) + 1):
        slowly.update(findings[:k])
    at_once.update(findings)
    assert slowly.right_among(range(500)) == at_once.right_among(range(500))


@dataclass(frozen=True)
class _Even:
    sd_ms: Estimate
    places: tuple[object, ...] = ()


@dataclass(frozen=True)
class _Measures:
    evenness: object


def with_evenness(value: float, low: float, high: float, number: int = 1) -> PassRecord:
    even = _Even(Estimate(value, low, high, 100, "ms"))
    return replace(record(), measures=_Measures(even), number=number)


EVENNESS = next(line for line in LINES if line.label == "evenness")


def test_a_change_is_real_only_where_intervals_lie_apart():
    before = with_evenness(20, 18, 22)
    assert is_real_change(EVENNESS, with_evenness(12, 10, 14), before) == 1  # less is better
    assert is_real_change(EVENNESS, with_evenness(30, 27, 33), before) == -1
    assert is_real_change(EVENNESS, with_evenness(17, 15, 19), before) == 0
    none = replace(record(), measures=_Measures(no_estimate("no figure")))
    assert is_real_change(EVENNESS, none, before) == 0
    assert read_value(EVENNESS, none).reason == "no figure"


def test_a_figure_fingered_otherwise_is_no_change():
    sd = Estimate(20, 18, 22, 90, "ms"), Estimate(12, 10, 14, 90, "ms")
    before, same, other = (
        replace(
            record(),
            measures=SimpleNamespace(evenness=SimpleNamespace(sd_ms=one, fingering=fingering)),
        )
        for one, fingering in ((sd[0], "5 4 2 1"), (sd[1], "5 4 2 1"), (sd[1], "5 3 2 1"))
    )
    assert is_real_change(EVENNESS, same, before) == 1
    assert is_real_change(EVENNESS, other, before) == 0


def test_two_measures_under_one_label_are_never_compared():
    pedal = next(line for line in LINES if line.label == "pedal")
    clean, down = Estimate(0.9, 0.85, 0.95, 20, "share"), Estimate(0.5, 0.45, 0.55, 9, "share")
    changes = replace(record(), measures=SimpleNamespace(pedal=_Pedal(clean, down)))
    held = replace(record(), measures=SimpleNamespace(pedal=_Pedal(no_estimate("none"), down)))
    assert read_line(pedal, changes).word == "clean"
    assert read_line(pedal, held).word == "little"
    assert is_real_change(pedal, changes, held) == 0
    worse = replace(record(), measures=SimpleNamespace(pedal=_Pedal(down, down)))
    assert is_real_change(pedal, changes, worse) == 1


@dataclass(frozen=True)
class _Pedal:
    changes_clean_share: Estimate
    down_share: Estimate


def test_every_line_of_the_account_reads_a_real_measure():
    for line in LINES:
        found = read_value(line, record())
        assert found.value is not None or found.reason != "not measured", line.label
        if found.value is not None:
            assert line.show(found)
            assert read_line(line, record()).word


def test_the_best_is_of_the_same_bars_hand_and_tempo():
    one = replace(record(), good=False, number=1)
    good = replace(one, good=True, number=2)
    faster = replace(good, tempo_qpm=one.tempo_qpm * 1.5, number=3)
    assert best_at_tempo((one, good, faster), one) is good
    assert best_at_tempo((one, faster), one) is one
    elsewhere = replace(good, instrument="Upright")
    assert best_at_tempo((one, elsewhere), one) is one


def test_slips_are_told_with_their_bar_and_like_ones_once():
    arrangement = read_exercise()
    slip = Slip("accidental missed", 0, 40, "Bb4", "B4", "bar 9, beat 1: B for B♭: the flat missed")
    bar = arrangement.bars[arrangement.notes[40].bar].number
    told = slips_in_words(arrangement, replace(record(), slips=(slip, slip)))
    assert told == [(bar, "B for B♭: the flat missed (2 times).")]
    bare = replace(slip, words="", kind="added")
    assert slips_in_words(arrangement, replace(record(), slips=(bare,)))[0][1] == "B4 for B♭4."


def test_advice_names_the_bar_that_failed_twice():
    arrangement = read_exercise()
    slip = Slip("left out", None, 40, "Bb4", "", "left out")
    first = replace(record(), number=1, slips=(slip,), good=False, why_not="")
    second = replace(first, number=2)
    bar = arrangement.bars[arrangement.notes[40].bar].number
    assert advise(arrangement, second, (first, second)).startswith(f"Take bar {bar} alone")


@pytest.mark.parametrize("hands", ["left", "both"])
def test_advice_is_one_short_line_with_a_reason(hands):
    one = replace(record(), hands=hands)
    said = advise(read_exercise(), one, (one,))
    assert said
    assert "\n" not in said
    assert len(said) < 120
    assert "!" not in said


def test_an_extra_note_stands_by_the_note_heard_nearest():
    arrangement = read_exercise()
    notes = (PlayedNote(0, 63, 60, 1.0), PlayedNote(1, 51, 60, 2.0), PlayedNote(2, 61, 60, 2.02))
    findings = (Finding(0, 10, "right"), Finding(1, 20, "right"), Finding(2, None, "extra"))
    one = replace(record(), notes=notes, findings=findings, slips=(), deviations_ms=(0.0,) * 3)
    extras = [m for m in read_marks(arrangement, (one,)).slips if m.kind == "extra"]
    assert [m.score for m in extras] == [20]
    assert extras[0].name
