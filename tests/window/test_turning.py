"""The page turns itself before it is needed and never under the eyes."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from practice.window.turning import SETTLED, SETTLED_FOR_NEXT, open_slots, turn


def play(lines: int, count: int, start: int = 0) -> list[tuple[int, float, tuple[int | None, ...]]]:
    """Play straight through so many lines; what stands in the slots at each tenth of a line."""
    slots = open_slots(list(range(lines)), start, count)
    seen = []
    for line in range(start, lines):
        for tenth in range(10):
            slots = turn(slots, line, tenth / 10, list(range(line + 1, lines)))
            seen.append((line, tenth / 10, slots))
    return seen


def test_all_lines_fit_and_nothing_ever_moves():
    assert {slots for _, _, slots in play(3, 3)} == {(0, 1, 2)}


def test_two_slots_alternate():
    seen = play(4, 2)
    assert seen[0][2] == (0, 1)
    # at the start of line 1 the upper slot still shows line 0; soon it has line 2
    assert (1, 0.1, (0, 1)) in seen
    assert (1, 0.2, (2, 1)) in seen
    assert (2, 0.3, (2, 3)) in seen


@given(st.integers(2, 30), st.integers(2, 6))
def test_the_line_read_and_the_next_are_always_there(lines: int, count: int):
    for line, share, slots in play(lines, count):
        assert line in slots
        if count > 2 or share >= SETTLED_FOR_NEXT:
            assert line + 1 in slots or line + 1 == lines


@given(st.integers(2, 30), st.integers(2, 6))
def test_the_line_read_and_the_next_never_move(lines: int, count: int):
    before: tuple[int | None, ...] | None = None
    for line, share, slots in play(lines, count):
        if before is not None:
            for wanted in (line, line + 1):
                if wanted in before and not (share == 0 and wanted == line + 1):
                    assert slots.index(wanted) == before.index(wanted)
        before = slots


@given(st.integers(3, 30), st.integers(2, 6))
def test_before_it_has_settled_a_line_keeps_the_one_before_it(lines: int, count: int):
    for line, share, slots in play(lines, count):
        if line and share < (SETTLED if count > 2 else SETTLED_FOR_NEXT):
            assert line - 1 in slots


def test_a_jump_opens_the_page_at_the_place():
    slots = turn((4, 5, 6), 20, 0.5, [21, 22, 23])
    assert slots == (20, 21, 22)


def test_a_span_that_comes_round_shows_its_first_line_again():
    slots = turn((2, 1), 2, 0.5, [0, 1, 2])  # the last line of three, played in two slots
    assert slots == (2, 0)


def test_a_short_span_that_comes_round_stays_as_it_is():
    assert turn((0, 1, 2), 1, 0.9, [0, 1, 2]) == (0, 1, 2)
