"""Keeping what was worked out for the last few things asked about, told apart by identity.

Passes and arrangements are frozen and large: hashing one costs more than most of what is asked of
it, and the same object is asked about again in the next frame.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from typing import Concatenate, ParamSpec, TypeVar

#: As many passes as are held whole at least (`practice.listen.recalled`), the Wheel's among them:
#: to keep more would hold on to passes that are let go of elsewhere.
PASSES = 5

Thing = TypeVar("Thing")
More = ParamSpec("More")
Answer = TypeVar("Answer")


def kept_by_identity(
    count: int,
) -> Callable[
    [Callable[Concatenate[Thing, More], Answer]], Callable[Concatenate[Thing, More], Answer]
]:
    """Keep the last `count` answers of a pure function, by which objects it was given.

    What was given is held too: with whole passes, keep few.
    """

    def wrap(
        function: Callable[Concatenate[Thing, More], Answer],
    ) -> Callable[Concatenate[Thing, More], Answer]:
        kept: OrderedDict[tuple[int, ...], tuple[object, Answer]] = OrderedDict()

        def ask(thing: Thing, /, *args: More.args, **named: More.kwargs) -> Answer:
            given = (thing, *args, *named.values())
            key = tuple(id(one) for one in given)
            if key in kept:  # what was given is held, so its identity is not another's by now
                kept.move_to_end(key)
                return kept[key][1]
            answer = function(thing, *args, **named)
            kept[key] = (given, answer)
            if len(kept) > count:
                kept.popitem(last=False)
            return answer

        return ask

    return wrap
