"""The page played: the arrangement without a slip, for the ear and for the other hand."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from engine.arrangement import Arrangement, Hands, Span
from engine.errors import SpanError
from engine.form.find import find_form
from engine.performance import KeyEvent
from practice.player import Character, Pedalling, perform

Part = Literal["all", "line", "figure"]


@dataclass(frozen=True, slots=True)
class PageChoice:
    """What of the page is played.

    Attributes:
        span: the bars. hands: whose notes.
        part: all of them, the line (with its doubling) alone, or the figure alone as a bed.
        rate: share of the marked tempo. level: velocity of an ordinary note.
        pedal: the page's own pedal marks are obeyed.
    """

    span: Span
    hands: Hands = "both"
    part: Part = "all"
    rate: float = 1.0
    level: int = 60
    pedal: bool = True


def play_page(arrangement: Arrangement, choice: PageChoice, start_s: float = 0.0) -> list[KeyEvent]:
    """The events of a choice in order of time, the span beginning at `start_s`.

    Raises:
        SpanError: there is nothing to play in it.
    """
    part = keep_notes(arrangement, find_part(arrangement, choice.part))
    character = Character(
        level=float(choice.level),
        right_over=8.0 if choice.hands == "both" and choice.part == "all" else 0.0,
        top_over=0.0 if choice.part == "figure" else 3.0,
        articulation=0.98,
        pedalling=Pedalling(style="written" if choice.pedal else "none"),
    )
    rng = np.random.default_rng(0)
    table = part.table
    inside = (table["bar"] >= choice.span.from_bar) & (table["bar"] <= choice.span.to_bar)
    if choice.hands != "both":
        inside &= table["hand"] == (choice.hands == "right")
    if not inside.any():
        raise SpanError(f"nothing to play: {choice.part} of {choice.hands}", arrangement.title)
    return perform(
        part,
        character,
        rng,
        span=choice.span,
        hands=choice.hands,
        start_s=start_s,
        rate=choice.rate,
    )


def keep_notes(arrangement: Arrangement, indices: Iterable[int]) -> Arrangement:
    """The arrangement with some of its notes only; its form is left out."""
    chosen = sorted(set(indices))
    new_of = {old: new for new, old in enumerate(chosen)}
    notes = tuple(
        replace(arrangement.notes[i], unison=new_of.get(arrangement.notes[i].unison, -1))
        for i in chosen
    )
    return replace(arrangement, notes=notes, form=type(arrangement.form)())


def find_part(arrangement: Arrangement, part: Part) -> set[int]:
    """Indices of the notes of a part, both hands."""
    everything = set(range(len(arrangement.notes)))
    if part == "all":
        return everything
    form = arrangement.form
    if not (form.line or form.figures):
        form = find_form(arrangement)
    if part == "line":
        return set(form.line) | {copy for _, copy in form.doublings}
    return {i for figure in form.figures for cell in figure.occurrences for i in cell}
