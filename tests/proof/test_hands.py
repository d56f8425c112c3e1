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
