"""The shipped exercises: each is what its README says it is."""

from __future__ import annotations

import itertools
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree

import pytest

from engine.arrangement import Arrangement, ScoreNote
from engine.read import read_arrangement

NAMES = ["salt-pans-night-shift", "brine-pump", "two-sluices", "evaporation"]
#: Fifths, written bars, played bars, marked tempo in quarters a minute: as in the README.
FACTS = {
    "salt-pans-night-shift": (-6, 56, 103, 72.0),
    "brine-pump": (-5, 17, 17, 84.0),
    "two-sluices": (4, 16, 16, 76.0),
    "evaporation": (-2, 16, 16, 58.0),
}


@pytest.fixture(scope="module")
def read(exercises: Path) -> dict[str, Arrangement]:
    return {name: read_arrangement(exercises / f"{name}.musicxml") for name in NAMES}


@pytest.fixture(scope="module")
def pans(read: dict[str, Arrangement]) -> Arrangement:
    return read["salt-pans-night-shift"]


def first_time(arrangement: Arrangement, number: str, hand: str) -> list[ScoreNote]:
    """The notes of a printed bar's first time through."""
    bar = next(b.index for b in arrangement.bars if b.number == number)
    return [n for n in arrangement.notes if n.bar == bar and n.hand == hand]


def names(notes: list[ScoreNote]) -> list[str]:
    return [n.name for n in notes]


@pytest.mark.parametrize("name", NAMES)
def test_reads_without_a_problem_and_as_described(read: dict[str, Arrangement], name: str) -> None:
    arrangement = read[name]
    assert arrangement.problems == ()
    written = {b.written for b in arrangement.bars}
    facts = (
        arrangement.fifths, len(written), len(arrangement.bars), arrangement.tempo[0].qpm
    )  # fmt: skip
    assert facts == FACTS[name]


@pytest.mark.parametrize("name", NAMES)
def test_every_note_has_an_id_of_its_own_and_the_file_a_licence(exercises: Path, name: str) -> None:
    root = ElementTree.parse(exercises / f"{name}.musicxml").getroot()
    ids = [note.get("id") for note in root.iter("note")]
    assert ids == [f"n{k}" for k in range(1, len(ids) + 1)]
    assert "CC BY 4.0" in (root.findtext("identification/rights") or "")


@pytest.mark.parametrize("name", NAMES)
def test_no_hand_reaches_past_an_octave_and_the_hands_do_not_collide(
    read: dict[str, Arrangement], name: str
) -> None:
    for _, group in itertools.groupby(read[name].notes, key=lambda n: n.onset_q):
        struck = list(group)
        sides = [[n.pitch for n in struck if n.hand == hand] for hand in ("left", "right")]
        assert all(max(side) - min(side) <= 12 for side in sides if side)
        if all(sides):
            assert max(sides[0]) < min(sides[1])


def test_the_keys_kept_clear_of_are_kept_clear_of(read: dict[str, Arrangement]) -> None:
    """Minor keys by their signature: A flat -7 (G sharp 5), F -4 (E sharp 8)."""
    assert not {a.fifths for a in read.values()} & {-7, 5, -4}


def test_the_line_has_double_flats_and_double_sharps(read: dict[str, Arrangement]) -> None:
    doubles = {
        name: {f"{n.step}{n.alter:+d}" for n in arrangement.notes if abs(n.alter) == 2}
        for name, arrangement in read.items()
    }
    assert doubles["salt-pans-night-shift"] == {"B-2", "E-2", "A-2"}
    assert doubles["two-sluices"] == {"F+2"}


def test_the_repeat_leaves_out_the_introduction(pans: Arrangement) -> None:
    played = [b.number for b in pans.bars]
    once = [str(k) for k in range(1, 53)]
    again = [str(k) for k in range(5, 52)]
    assert played == once + again + ["53", "54", "55", "56"]


def test_the_last_note_is_held_longer_the_second_time(pans: Arrangement) -> None:
    first = next(n for n in first_time(pans, "52", "right") if n.name == "Eb5")
    last = next(n for n in first_time(pans, "53", "right") if n.name == "Eb5")
    assert (first.duration_q, last.duration_q) == (Fraction(1), Fraction(8))


def test_the_figure_is_one_cell_until_the_late_change(pans: Arrangement) -> None:
    cell = ["Eb2", "Bb2", "F3", "Gb3", "Bb2", "F3", "Gb3", "F3"]
    assert all(names(first_time(pans, str(k), "left")) == cell for k in range(1, 37))
    assert names(first_time(pans, "37", "left"))[0] == "Cb2"
    assert names(first_time(pans, "41", "left"))[0] == "Fb2"


@pytest.mark.parametrize(
    ("one", "other", "alike", "parts"),
    [("5", "13", 5, "18"), ("5", "29", 4, "33"), ("5", "45", 4, "49"), ("25", "49", 3, "")],
)
def test_twins_begin_alike_and_part(
    pans: Arrangement, one: str, other: str, alike: int, parts: str
) -> None:
    a, b = int(one), int(other)
    same = [
        names(first_time(pans, str(a + k), "right")) == names(first_time(pans, str(b + k), "right"))
        for k in range(alike + 1)
    ]
    assert all(same[:alike])
    if parts:
        assert int(parts) == b + alike
        assert not same[alike]


def test_the_pedal_is_written_through(pans: Arrangement) -> None:
    """Down for nearly all of it, and cleared at the late change of harmony."""
    held = sum((p.up_q - p.down_q for p in pans.pedals), Fraction(0))
    assert held / pans.end_q > Fraction(95, 100)
    crystal = next(m.onset_q for m in pans.marks if m.kind == "rehearsal" and m.text == "Crystal")
    assert crystal in {p.down_q for p in pans.pedals}
    assert crystal in {p.up_q for p in pans.pedals}


def test_the_pedal_study_has_clear_changes_and_one_long_pedal(read: dict[str, Arrangement]) -> None:
    lengths = [p.up_q - p.down_q for p in read["evaporation"].pedals]
    assert lengths == [3] * 8 + [12] + [1, 1, 1] + [2, 1] + [6]


def test_the_figure_study_changes_hands_and_is_written_without_pedal(
    read: dict[str, Arrangement],
) -> None:
    pump = read["brine-pump"]
    assert pump.pedals == ()
    assert [len(first_time(pump, k, "left")) for k in ("1", "9")] == [12, 1]
    assert [len(first_time(pump, k, "right")) for k in ("1", "9")] == [1, 12]


def test_the_octave_study_gives_octaves_to_each_hand(read: dict[str, Arrangement]) -> None:
    sluices = read["two-sluices"]
    for number, hands in (("1", ["right"]), ("9", ["left"]), ("13", ["left", "right"])):
        for hand in hands:
            pitches = sorted(n.pitch for n in first_time(sluices, number, hand))
            onsets = {n.onset_q for n in first_time(sluices, number, hand)}
            assert len(pitches) == 2 * len(onsets)
            assert all(p + 12 in pitches or p - 12 in pitches for p in pitches)
