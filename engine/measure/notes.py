"""Right, missed, wrong and extra notes, by hand and bar."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from engine.arrangement import Hand
from engine.findings import Estimate
from engine.measure.heard import Heard
from engine.measure.interval import share_of


@dataclass(frozen=True, slots=True)
class NoteCount:
    """Counts of score notes (right, wrong, missing) and of added ones (extra)."""

    right: int
    wrong: int
    missing: int
    extra: int
    right_share: Estimate


@dataclass(frozen=True, slots=True)
class HandNotes:
    """Counts of one hand. An extra note belongs to no hand and is counted in none."""

    hand: Hand
    count: NoteCount


@dataclass(frozen=True, slots=True)
class BarNotes:
    """Counts of one bar: printed number and which time through."""

    bar: str
    bar_time: int
    count: NoteCount


@dataclass(frozen=True, slots=True)
class Notes:
    """Notes of the span as far as it was played.

    Attributes:
        right_share: right over right, wrong and missing; interval by Wilson.
        count: all together. hands: each hand. bars: only those with a slip.
    """

    right_share: Estimate
    count: NoteCount
    hands: tuple[HandNotes, ...]
    bars: tuple[BarNotes, ...]


def measure_notes(heard: Heard) -> Notes:
    """Count the findings of the span and hands; a unison counts once."""
    kinds = _kinds(heard)
    extra = sum(f.what == "extra" for f in heard.findings)
    hand = heard.arrangement.table["hand"]
    bar = heard.arrangement.table["bar"]
    whose: dict[int, Hand] = {0: "left", 1: "right"}
    count = _count(kinds.values(), extra)
    return Notes(
        count.right_share,
        count,
        tuple(
            HandNotes(name, _count([k for s, k in kinds.items() if hand[s] == code], 0))
            for code, name in whose.items()
            if heard.hands in ("both", name)
        ),
        _by_bar(heard, {s: (int(bar[s]), k) for s, k in kinds.items()}),
    )


def _kinds(heard: Heard) -> dict[int, str]:
    """What became of each score note that was reached: right beats wrong beats missing."""
    rank = {"missing": 0, "wrong": 1, "right": 2}
    expected = set(heard.expected.tolist())
    stands = heard.stands
    out: dict[int, str] = {}
    for f in heard.findings:
        told = f.stands_for if f.what == "wrong" else f.score
        if told is None or f.what not in rank:
            continue
        note = int(stands[told])
        if note in expected and rank[f.what] >= rank.get(out.get(note, ""), -1):
            out[note] = f.what
    return out


def _count(kinds: Iterable[str], extra: int) -> NoteCount:
    tally = Counter(kinds)
    total = sum(tally.values())
    share = share_of(tally["right"], total, "notes")
    return NoteCount(tally["right"], tally["wrong"], tally["missing"], extra, share)


def _by_bar(heard: Heard, kinds: dict[int, tuple[int, str]]) -> tuple[BarNotes, ...]:
    extra = Counter(_bars_of_extra(heard))
    slipped = {b for b, k in kinds.values() if k != "right"} | set(extra)
    bars = heard.arrangement.bars
    return tuple(
        BarNotes(
            bars[b].number,
            bars[b].time,
            _count([k for at, k in kinds.values() if at == b], extra[b]),
        )
        for b in sorted(slipped)
    )


def _bars_of_extra(heard: Heard) -> list[int]:
    """The bar of each extra note: where the note heard before it stands."""
    if not len(heard.score):
        return []
    position = {note.index: note for note in heard.notes}
    bar = heard.arrangement.table["bar"]
    out = []
    for f in heard.findings:
        if f.what == "extra" and f.played in position:
            at = np.searchsorted(heard.onset_s, position[f.played].onset_s, side="right") - 1
            out.append(int(bar[heard.score[max(int(at), 0)]]))
    return out
