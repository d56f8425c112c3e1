"""What the window keeps of what it worked out."""

from practice.listen.recalled import LEAST_WHOLE
from practice.window import keeping, wheel


def test_of_passes_it_keeps_what_is_shown_and_no_more_than_is_held():
    assert 1 + wheel.OLDER_PASSES <= keeping.PASSES <= LEAST_WHOLE


def test_the_oldest_answer_is_let_go_with_what_it_was_given():
    asked = []

    @keeping.kept_by_identity(2)
    def count(thing: list[int]) -> int:
        asked.append(thing)
        return len(thing)

    first, second, third = [1], [1], [1]
    assert [count(first), count(second), count(first), count(third)] == [1, 1, 1, 1]
    assert asked == [first, second, third]
    count(first)
    assert len(asked) == 3  # asked for again lately, it was kept
    count(second)
    assert len(asked) == 4
