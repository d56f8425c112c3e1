"""Every kind of slip in hand-written playings of the exercises, with the answer written down first.

Each case: bars of an exercise played perfectly but for what is changed, the kind, and the sentence.
Named once from the truth about the notes and once from what the whole-take alignment finds.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pytest

from engine.arrangement import Arrangement
from engine.findings import Finding, Slip
from engine.follow import align
from engine.performance import PlayedNote
from engine.read import read_arrangement
from engine.slips import KINDS, count_slips, name_slips
from engine.slips.name import place_words
from engine.slips.pairing import pair_findings
from tests.form.pages import page

SALT, SLUICES, PANS = (
    "salt-pans-night-shift.musicxml",
    "two-sluices.musicxml",
    "evaporation.musicxml",
)


@dataclass
class Case:
    """Bars [first, last] (indices) of an exercise, and what goes wrong in them.

    Attributes:
        other_keys: the bar, beat and name of a note, and the key struck for it (None: none).
        extra: (bar, beat, key, velocity) of keys struck that are not written.
        kind, words: of the slip at the first of these; heard: its name.
    """

    name: str
    score: str
    bars: tuple[int, int]
    kind: str
    words: str
    heard: str = ""
    other_keys: dict[tuple[str, float, str], int | None] = field(default_factory=dict)
    extra: list[tuple[str, float, int, int]] = field(default_factory=list)


CASES = [
    Case(
        "the flat read once", SALT, (4, 14), "accidental missed",
        "bar 10, beat 1: B♭ for B𝄫: the flat was read once, not twice (the flat fifth)", "Bb5",
        {("10", 1, "Bbb5"): 82, ("10", 1, "Bbb4"): 70},
    ),
    Case(
        "a sharp forgotten", SLUICES, (0, 4), "accidental missed",
        "bar 1, beat 3: F♯ for F𝄪: the sharp was read once, not twice (the sharp eleventh)", "F#5",
        {("1", 3, "F##5"): 78, ("1", 3, "F##4"): 66},
    ),
    Case(
        "the signature forgotten", PANS, (0, 6), "accidental missed",
        "bar 2, beat 1: E for E♭: the flat of the key signature was forgotten", "E2",
        {("2", 1, "Eb2"): 40},
    ),
    Case(
        "the flat before it missed", PANS, (0, 8), "accidental missed",
        "bar 7, beat 1: A for A♭: the flat before it was missed", "A2",
        {("7", 1, "Ab2"): 45},
    ),
    Case(
        "an octave too low", SALT, (4, 12), "wrong octave",
        "bar 7, beat 1: E♭ an octave too low", "Eb1",
        {("7", 1, "Eb2"): 27},
    ),
    Case(
        "an octave closed", SALT, (4, 12), "octave split",
        "bar 6, beat 1: A♭ for G♭: the octave was closed by two keys", "Ab4",
        {("6", 1, "Gb4"): 68},
    ),
    Case(
        "left out", SALT, (4, 12), "left out",
        "bar 8, beat 1.5: F left out", "",
        {("8", 1.5, "F3"): None},
    ),
    Case(
        "struck twice", SALT, (4, 12), "doubled strike",
        "bar 7, beat 1.14: F too many: the key was struck twice", "F5",
        extra=[("7", 1.14, 77, 60)],
    ),
    Case(
        "brushed", SALT, (4, 12), "brushed",
        "bar 7, beat 1.01: G♭ too many: brushed beside F", "Gb5",
        extra=[("7", 1.01, 78, 24)],
    ),
    Case(
        "added", SALT, (4, 12), "added",
        "bar 8, beat 1.6: B𝄫 too many: it is not on the page", "Bbb3",
        extra=[("8", 1.6, 57, 60)],
    ),
    Case(
        "the twin taken", SALT, (4, 22), "twin taken",
        "bar 10, beat 2: B♭ for A♭: that is how bar 18 goes on (the eleventh)", "Bb5",
        {("10", 2, "Ab5"): 82, ("10", 2, "Ab4"): 70},
    ),
    Case(
        "the next harmony too soon", SALT, (30, 40), "anticipation",
        "bar 36, beat 2: G♭ for B♭: G♭ comes next, it came too soon", "Gb2",
        {("36", 2, "Bb2"): 42},
    ),
    Case(
        "the key below", SALT, (4, 12), "neighbour key",
        "bar 8, beat 1.25: B𝄫 for B♭: the key below was struck", "Bbb2",
        {("8", 1.25, "Bb2"): 45},
    ),
    Case(
        "the left hand's note in the right", PANS, (0, 8), "other hand's note",
        "bar 5, beat 1: G for D: it belongs to the left hand", "G5",
        {("5", 1, "D5"): 79},
    ),
    Case(
        "the last harmony kept", SLUICES, (0, 6), "late change",
        "bar 4, beat 1: E for C♯: E came before, it was kept too long", "E3",
        {("4", 1, "C#3"): 52},
    ),
]  # fmt: skip


@pytest.fixture(scope="module")
def pages(exercises: Path) -> dict[str, Arrangement]:
    return {name: read_arrangement(exercises / name) for name in (SALT, SLUICES, PANS)}


def at_q(page: Arrangement, number: str, beat: float) -> float:
    bar = next(b for b in page.bars if b.number == number)
    return float(bar.onset_q) + (beat - 1) * 4 / bar.beat_unit


def play(page: Arrangement, case: Case) -> tuple[list[PlayedNote], list[Finding]]:
    """The notes as played, and the truth about them."""
    wrong = {}
    for (number, beat, name), key in case.other_keys.items():
        q = at_q(page, number, beat)
        found = [i for i, n in enumerate(page.notes) if n.onset_q == q and n.name == name]
        wrong[found[0]] = key
    rows: list[tuple[float, int, int, int | None]] = []
    for i, note in enumerate(page.notes):
        key = wrong.get(i, note.pitch)
        if case.bars[0] <= note.bar <= case.bars[1] and key is not None:
            rows.append((float(page.seconds_at(float(note.onset_q))), key, 64, i))
    for number, beat, key, velocity in case.extra:
        rows.append((float(page.seconds_at(at_q(page, number, beat))), key, velocity, None))
    rows.sort(key=lambda r: r[:2])
    notes = [PlayedNote(k, p, v, s, s + 0.2) for k, (s, p, v, _) in enumerate(rows)]
    findings = []
    for k, (_, _, _, i) in enumerate(rows):
        if i is None:
            findings.append(Finding(k, None, "extra"))
        elif i in wrong:
            findings.append(Finding(k, None, "wrong", i))
        else:
            findings.append(Finding(k, i, "right"))
    findings += [Finding(None, i, "missing") for i, key in wrong.items() if key is None]
    return notes, findings


def first(slips: tuple[Slip, ...], heard: str) -> Slip:
    assert slips, "no slip named"
    return next((s for s in slips if s.heard == heard), slips[0])


@pytest.mark.parametrize("case", CASES, ids=[c.name for c in CASES])
def test_a_slip_is_called_by_its_name(pages: dict[str, Arrangement], case: Case) -> None:
    page = pages[case.score]
    notes, findings = play(page, case)
    slip = first(name_slips(page, notes, findings), case.heard)
    assert (slip.kind, slip.words, slip.heard) == (case.kind, case.words, case.heard)
    assert slip.evidence
    assert 0 < slip.certainty <= 1


@pytest.mark.parametrize("case", CASES, ids=[c.name for c in CASES])
def test_it_is_so_too_from_what_the_alignment_finds(
    pages: dict[str, Arrangement], case: Case
) -> None:
    page = pages[case.score]
    notes, _ = play(page, case)
    slips = name_slips(page, notes, align(page, notes, None, None))
    assert case.kind in {s.kind for s in slips}
    changed = len(case.other_keys) + len(case.extra)
    assert len(slips) == changed, [s.words for s in slips]


def test_a_faultless_pass_has_no_slips(pages: dict[str, Arrangement]) -> None:
    case = Case("none", SALT, (0, 102), "", "")
    notes, findings = play(pages[SALT], case)
    assert name_slips(pages[SALT], notes, findings) == ()


def test_one_key_that_may_be_two_things_is_unclear(pages: dict[str, Arrangement]) -> None:
    page = pages[SALT]
    # Far from every key written near it: nothing tells what it was.
    case = Case("far off", SALT, (4, 12), "", "", other_keys={("8", 1.5, "F3"): 61})
    notes, findings = play(page, case)
    (slip,) = name_slips(page, notes, findings)
    assert slip.kind == "unclear"


def test_a_key_that_two_kinds_explain_as_well_is_not_guessed(
    pages: dict[str, Arrangement],
) -> None:
    """In bar 3 of Two Sluices A for G sharp is the key above, and A comes next."""
    page = pages[SLUICES]
    case = Case("either", SLUICES, (0, 4), "", "",
                other_keys={("3", 1, "G#5"): 81, ("3", 1, "G#4"): 69})  # fmt: skip
    notes, findings = play(page, case)
    for slip in name_slips(page, notes, findings):
        assert slip.kind == "unclear", slip
        assert "neighbour key or anticipation" in slip.words


def test_one_note_of_an_octave_off_is_no_anticipation(pages: dict[str, Arrangement]) -> None:
    page = pages[SLUICES]
    case = Case("one of two", SLUICES, (0, 4), "", "", other_keys={("3", 1, "G#5"): 81})
    notes, findings = play(page, case)
    (slip,) = name_slips(page, notes, findings)
    assert slip.kind == "octave split"


def test_slips_are_counted_by_section(pages: dict[str, Arrangement]) -> None:
    page = pages[SALT]
    case = CASES[0]
    notes, findings = play(page, case)
    counts = count_slips(page, name_slips(page, notes, findings))
    assert counts["Inlet"] == {"accidental missed": 2}
    assert sum(sum(c.values()) for c in counts.values()) == 2


def test_every_kind_is_explained() -> None:
    assert all(KINDS[case.kind] for case in CASES)


def test_what_rounds_to_the_barline_is_the_next_bars_downbeat() -> None:
    two_bars = page(right=[(k, 1, "C5") for k in range(8)])
    assert place_words(two_bars, 3.99) == "bar 1, beat 4.99"
    assert place_words(two_bars, 3.999) == "bar 2, beat 1"
    assert place_words(two_bars, 7.999) == "bar 2, beat 5", "no bar follows"


def test_who_struck_its_own_key_struck_no_wrong_one() -> None:
    """Four C in a row, the third called left out and a C struck near it called too many."""
    row = page(right=[(k / 2, 0.5, "C5") for k in range(4)])
    notes = [PlayedNote(k, 72, 64, s, s + 0.1) for k, s in enumerate((0.0, 0.5, 0.9, 1.5))]
    findings = [
        Finding(0, 0, "right"), Finding(1, 1, "right"), Finding(2, None, "extra"),
        Finding(3, 3, "right"), Finding(None, 2, "missing"),
    ]  # fmt: skip
    words = [slip.words for slip in name_slips(row, notes, findings)]
    assert not [w for w in words if "octave" in w]
    assert sorted(pair_findings(row, notes, findings), key=str) == sorted(findings, key=str)


def test_a_drone_sounds_however_long_ago_it_began() -> None:
    """The left hand holds C sharp for three bars; the right strikes it in the third."""
    drone = page(right=[(k, 1, n) for k, n in enumerate(["D5", "E5", "F5", "G5"] * 3)],
                 left=[(0, 12, "C#3")])  # fmt: skip
    off = next(i for i, n in enumerate(drone.notes) if n.onset_q == 10)
    notes = [PlayedNote(i, 61 if i == off else n.pitch, 64, float(n.onset_q))
             for i, n in enumerate(drone.notes)]  # fmt: skip
    findings = [Finding(i, None, "wrong", i) if i == off else Finding(i, i, "right")
                for i in range(len(notes))]  # fmt: skip
    (slip,) = name_slips(drone, notes, findings)
    assert slip.kind == "other hand's note"
    assert slip.evidence == "the left hand holds C♯ here"
