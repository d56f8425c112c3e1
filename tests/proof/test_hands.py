"""One hand in two places: struck at once, or held while another key is asked for."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from engine.arrangement import Arrangement, PedalSpan
from engine.form.find import find_form
from engine.proof import find_remarks
from tests.form.pages import page

#: The left hand holds C2 for four quarters and has E4 over it in the third: two octaves and more.
HELD = [(0, 4, "C2"), (2, 1, "E4")]
AIR = [(k, 1, name) for k, name in enumerate(["G5", "A5", "B5", "C6", "G5", "E5", "D5", "C5"])]


def with_pedal(*spans: tuple[float, float]) -> Arrangement:
    pedals = [PedalSpan(Fraction(a), Fraction(b), "damper") for a, b in spans]
    found = page(right=AIR, left=HELD, pedals=pedals)
    return replace(found, form=find_form(found))


def two_places(arrangement: Arrangement) -> list[tuple[str, Fraction | None, str]]:
    remarks = find_remarks(arrangement)
    return [(r.bar, r.beat, r.why) for r in remarks if r.kind == "two places"]


def test_a_key_held_far_from_the_next_one_with_no_pedal_down_is_remarked() -> None:
    ((bar, beat, why),) = two_places(with_pedal((5, 8)))
    assert (bar, beat) == ("1", 3)
    assert why == "the left hand is asked for E4 while it holds C2, and no pedal holds that for it"


def test_a_pedal_holds_it_and_a_page_without_pedals_leaves_it_to_the_player() -> None:
    assert two_places(with_pedal((0, 4))) == []
    assert two_places(with_pedal((1, 3))) == []
    assert two_places(with_pedal()) == []


def test_a_pedal_put_down_after_the_key_was_left_does_not_hold_it() -> None:
    assert two_places(with_pedal((0, 1), (4, 8))) != []


def test_what_stands_on_the_other_staff_is_not_held_against_a_hand() -> None:
    chord = page(right=[(0, 4, "C3"), (0, 4, "E5"), (0, 4, "G5")], left=[(0, 4, "C2")])
    assert two_places(chord) != []
    below = tuple(replace(n, staff=2) if n.name == "C3" else n for n in chord.notes)
    assert two_places(replace(chord, notes=below)) == []


def grips(arrangement: Arrangement) -> list[str]:
    return [r.why for r in find_remarks(arrangement) if r.kind in ("stretch", "two places")]


def in_voices(arrangement: Arrangement, **voices: str) -> Arrangement:
    """Notes by name put into voices; all others stay in one voice a hand."""
    notes = (replace(n, voice=voices.get(n.name, n.hand)) for n in arrangement.notes)
    return replace(arrangement, notes=tuple(notes))


def test_one_key_of_an_inner_voice_may_be_the_other_hands() -> None:
    """F4 and B4 are a voice under B5; with D3 and A3 the left hand takes the F4, a tenth above."""
    chord = page(
        right=[(0, 4, "F4"), (0, 4, "B4"), (0, 4, "B5")], left=[(0, 4, "D3"), (0, 4, "A3")]
    )
    assert grips(in_voices(chord)) != [], "one voice is one hand's"
    assert grips(in_voices(chord, F4="2", B4="2")) == []


def test_hands_may_exchange_voices_that_cross() -> None:
    """As written both reach too far; one hand can take both E flats, the other C5 and A flat 5."""
    chord = page(right=[(0, 4, "Eb4"), (0, 4, "Ab5")], left=[(0, 4, "Eb3"), (0, 4, "C5")])
    assert len(grips(in_voices(chord))) == 2
    assert grips(in_voices(chord, Eb4="2", C5="3")) == []


def test_what_is_held_is_not_given_away() -> None:
    """The left hand has held A2 since the first beat: a D4 would be a semitone too far from it."""
    chord = page(right=[(2, 2, "D4"), (2, 2, "A5")], left=[(0, 4, "A2")])
    assert grips(in_voices(chord, D4="2")) != []
    shorter = page(right=[(2, 2, "D4"), (2, 2, "A5")], left=[(0, 2, "A2")])
    assert grips(in_voices(shorter, D4="2")) == []


def test_what_is_too_far_apart_is_named_by_its_ends() -> None:
    """The octave at the bottom is the widest gap, and no hand's trouble."""
    chord = page(right=[(0, 4, "G5")], left=[(0, 4, "C2"), (0, 4, "C3"), (0, 4, "Bb3")])
    assert grips(chord) == ["the left hand is asked for C2 and B♭3 at once"]


def test_keys_are_counted_once_though_two_voices_share_one() -> None:
    """Seven white keys from C3 to B3, the lowest written in two voices."""
    keys = [(0, 4, f"{letter}3") for letter in "CDEFGAB"]
    chord = page(right=[(0, 4, "C6")], left=[*keys, (0, 4, "C3")])
    assert grips(chord) == ["the left hand has 7 keys at once"]
