"""Two versions of a page: what changed, and what practice still counts."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from engine.arrangement import Arrangement, PedalSpan
from engine.proof import compare_pages
from engine.read import read_arrangement
from tests.form.pages import each, page
from tests.measure.by_hand import page as by_hand
from tests.proof.planting import measure, notes, planted, respell

TUNE = "C4 D4 E4 G4 A4 G4 E4 D4 F4 F4 A4 C5 B4 A4 G4 F4 "
BASS = "C3 G2 F2 G2 C3 A2 F2 G2 "


def versions(new: str):
    return page(right=each(TUNE, 1), left=each(BASS, 2)), page(
        right=each(new, 1), left=each(BASS, 2)
    )


def test_the_same_page_has_no_changes(exercises: Path) -> None:
    arrangement = read_arrangement(exercises / "two-sluices.musicxml")
    assert compare_pages(arrangement, arrangement) == ()


def test_a_changed_note_is_said_with_its_hand_and_its_bar() -> None:
    old, new = versions(TUNE.replace("A4 G4 E4", "B4 G4 E4"))
    (change,) = compare_pages(old, new)
    assert (change.kind, change.new_bar, change.hands) == ("changed", "2", ("right",))
    assert change.words == "now without A4 and with B4"
    assert not change.counts


def test_a_note_at_another_moment_of_its_bar_is_a_change_of_its_hand() -> None:
    # D alone in the second bar, on the first beat and then on the third; the left hand stays.
    def written(at: float) -> Arrangement:
        tune = [(0.0, 1.0, 60, "right"), (at, 1.0, 62, "right"), (8.0, 4.0, 64, "right")]
        return by_hand([*tune, *((4.0 * k, 4.0, 48, "left") for k in range(3))])

    (change,) = compare_pages(written(4.0), written(6.0))
    assert (change.kind, change.new_bar, change.hands) == ("changed", "2", ("right",))
    assert change.words == "the same keys, held or placed otherwise"
    assert not change.counts


def test_the_same_keys_in_a_longer_bar_are_a_change() -> None:
    old = by_hand([(0.0, 1.0, 60, "right"), (4.0, 1.0, 62, "right")])
    first, last = old.bars
    longer = replace(first, duration_q=Fraction(5))
    new = replace(old, bars=(longer, replace(last, onset_q=Fraction(5))), notes=(
        old.notes[0], replace(old.notes[1], onset_q=Fraction(5))))  # fmt: skip
    (change,) = compare_pages(old, new)
    assert (change.old_bar, change.hands) == ("1", ("left", "right"))
    assert change.words == "the same keys in a longer or shorter bar"


def test_an_inserted_bar_does_not_make_later_bars_new() -> None:
    old = page(right=each(TUNE, 1))
    new = page(right=each("C4 D4 E4 G4 E5 E5 E5 E5 " + TUNE[12:], 1))
    (change,) = compare_pages(old, new)
    assert (change.kind, change.old_bar, change.new_bar) == ("added", "", "2")


def test_a_bar_taken_out() -> None:
    old = page(right=each(TUNE, 1))
    new = page(right=each(TUNE[:12] + TUNE[24:], 1))
    (change,) = compare_pages(old, new)
    assert (change.kind, change.old_bar, change.counts) == ("taken out", "2", False)


def test_another_name_for_the_same_key_still_counts() -> None:
    old = page(right=each("C4 Bbb3 A3 G3", 1), fifths=-6)
    new = page(right=each("C4 A3 A3 G3", 1), fifths=-6)
    (change,) = compare_pages(old, new)
    assert (change.kind, change.words, change.counts) == ("respelled", "B𝄫3 is now A3", True)


def test_another_fingering_still_counts() -> None:
    old = page(right=each(TUNE, 1))
    fingered = tuple(replace(n, fingering="3") if n.note_id == "r5" else n for n in old.notes)
    (change,) = compare_pages(old, replace(old, notes=fingered))
    assert (change.kind, change.new_bar, change.counts) == ("refingered", "2", True)


def test_the_other_hand_does_not() -> None:
    old = page(right=each(TUNE, 1))
    moved = tuple(replace(n, hand="left") if n.bar == 1 else n for n in old.notes)
    (change,) = compare_pages(old, replace(old, notes=moved))
    assert (change.kind, change.counts) == ("moved between the hands", False)


def test_a_repeated_bar_is_compared_once(exercises: Path) -> None:
    path = exercises / "salt-pans-night-shift.musicxml"

    def plant(root) -> None:
        respell(notes(root, 14, 2)[2], "E", 0, 3)
        assert measure(root, 14) is not None

    (change,) = compare_pages(read_arrangement(path), planted(path, plant))
    assert (change.new_bar, change.hands) == ("14", ("left",))


def test_another_pedal_is_said_and_practice_still_counts() -> None:
    old = page(right=each(TUNE, 1), pedals=[PedalSpan(Fraction(0), Fraction(4), "damper")])
    new = replace(old, pedals=(PedalSpan(Fraction(0), Fraction(8), "damper"),))
    found = [(c.kind, c.new_bar, c.counts) for c in compare_pages(old, new)]
    assert found == [("pedalled otherwise", "2", True), ("pedalled otherwise", "3", True)]
