"""How a note goes wrong: each kind of slip as a change to the strokes of one written note."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np

from engine.arrangement import Arrangement
from practice.player.character import SlipShares
from practice.player.route import Onsets
from practice.player.stroke import Stroke

#: The kinds, in the words of the trade, by the name of their share.
KIND_OF = {
    "accidental": "accidental missed",
    "neighbour": "neighbour key",
    "octave": "wrong octave",
    "split": "octave split",
    "other_hand": "other hand's note",
    "anticipation": "anticipation",
    "late_change": "late change",
    "twin": "twin taken",
    "left_out": "left out",
    "added": "added",
    "doubled": "doubled strike",
    "brushed": "brushed",
}
#: For (hand, onset): the chords that passages which begin alike have there.
Ways = dict[tuple[int, int], tuple[tuple[int, ...], ...]]
#: So many onsets alike, in pitch and rhythm, before two passages may be taken for each other.
ALIKE = 4
LOWEST_KEY, HIGHEST_KEY = 21, 108
STEP_OF = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SHARPS = "FCGDAEB"


@dataclass(frozen=True)
class Page:
    """What the player sees around each note.

    `hands[h][k]`: the pitches of hand h (0 left, 1 right) at onset k, ascending.
    """

    arrangement: Arrangement
    onsets: Onsets

    @cached_property
    def hands(self) -> tuple[list[tuple[int, ...]], list[tuple[int, ...]]]:
        """Pitches by hand and onset."""
        table = self.arrangement.table
        both: tuple[list[tuple[int, ...]], list[tuple[int, ...]]] = ([], [])
        for group in self.onsets.notes:
            for hand in (0, 1):
                pitches = sorted(int(table["pitch"][i]) for i in group if table["hand"][i] == hand)
                both[hand].append(tuple(pitches))
        return both

    def beside(self, k: int, hand: int, by: int) -> tuple[int, ...]:
        """What the hand has at its next (by 1) or last (by -1) onset; () where there is none."""
        j = k + by
        while 0 <= j < len(self.onsets.q):
            if self.hands[hand][j]:
                return self.hands[hand][j]
            j += by
        return ()

    @cached_property
    def other_ways(self) -> Ways:
        """For (hand, onset): what passages that begin alike have there instead."""
        ways: Ways = {}
        for hand in (0, 1):
            struck = [k for k, pitches in enumerate(self.hands[hand]) if pitches]
            ways.update(self._part(hand, struck))
        return ways

    def _part(self, hand: int, struck: list[int]) -> Ways:
        after: dict[tuple[object, ...], list[int]] = defaultdict(list)
        gaps = np.round(np.diff(self.onsets.q[struck]), 6).tolist() if struck else []
        for at in range(ALIKE, len(struck)):
            run = tuple(self.hands[hand][k] for k in struck[at - ALIKE : at])
            after[(run, tuple(gaps[at - ALIKE : at]))].append(struck[at])
        out: Ways = {}
        for places in after.values():
            heard = {self.hands[hand][k] for k in places}
            for k in places if len(heard) > 1 else ():
                out[hand, k] = tuple(sorted(heard - {self.hands[hand][k]}))
        return out


@dataclass(frozen=True)
class Moment:
    """One written note about to be struck, as a note of its hand's chord at onset k.

    next_s: when the next onset comes. way: what the hand plays instead where it has taken the twin.
    """

    page: Page
    k: int
    hand: int
    score: int
    next_s: float
    rng: np.random.Generator
    way: tuple[int, ...] = ()

    @property
    def chord(self) -> tuple[int, ...]:
        """Everything this hand strikes now."""
        return self.page.hands[self.hand][self.k]

    @property
    def free(self) -> Callable[[int], bool]:
        """Whether a key is none of those written at this moment."""
        taken = {*self.page.hands[0][self.k], *self.page.hands[1][self.k]}
        return lambda pitch: pitch not in taken and LOWEST_KEY <= pitch <= HIGHEST_KEY

    def pick(self, pitches: Sequence[int]) -> int | None:
        """One of the keys that are free, by chance."""
        open_keys = [p for p in pitches if self.free(p)]
        return int(self.rng.choice(open_keys)) if open_keys else None


def slip(stroke: Stroke, moment: Moment, shares: SlipShares) -> tuple[list[Stroke], str]:
    """The strokes that come instead of one right stroke, and the slip's kind ("" for none)."""
    if moment.way:
        made = _take_from(stroke, moment, moment.way, "twin")
        return ([stroke], "") if made is None else (made, KIND_OF["twin"])
    draw = float(moment.rng.random())
    for share in fields(shares):
        if share.name == "twin":
            continue
        draw -= getattr(shares, share.name)
        if draw < 0:
            made = WAYS[share.name](stroke, moment)
            return ([stroke], "") if made is None else (made, KIND_OF[share.name])
    return [stroke], ""


def choose_way(
    page: Page, k: int, hand: int, shares: SlipShares, rng: np.random.Generator
) -> tuple[int, ...]:
    """What the hand plays at an onset where it takes the twin; () where it does not."""
    ways = page.other_ways.get((hand, k), ())
    if not ways or rng.random() >= shares.twin:
        return ()
    return ways[int(rng.integers(len(ways)))]


def _other_key(stroke: Stroke, pitch: int | None, name: str) -> list[Stroke] | None:
    if pitch is None:
        return None
    return [replace(stroke, pitch=pitch, what="wrong", kind=KIND_OF[name])]


def _miss_accidental(stroke: Stroke, moment: Moment) -> list[Stroke] | None:
    note = moment.page.arrangement.notes[moment.score]
    signature = key_alter(moment.page.arrangement.fifths, note.step)
    plain = signature if note.alter != signature else 0
    pitch = 12 * (note.octave + 1) + STEP_OF[note.step] + plain
    return _other_key(stroke, moment.pick([pitch] if pitch != note.pitch else []), "accidental")


def _take_neighbour(stroke: Stroke, moment: Moment) -> list[Stroke] | None:
    beside = [stroke.pitch + step for step in (-2, -1, 1, 2)]
    return _other_key(stroke, moment.pick(beside), "neighbour")


def _take_octave(stroke: Stroke, moment: Moment) -> list[Stroke] | None:
    away = [stroke.pitch - 12, stroke.pitch + 12]
    return _other_key(stroke, moment.pick(away), "octave")


def _split_octave(stroke: Stroke, moment: Moment) -> list[Stroke] | None:
    if not {stroke.pitch - 12, stroke.pitch + 12} & set(moment.chord):
        return None
    beside = [stroke.pitch + step for step in (-2, -1, 1, 2)]
    return _other_key(stroke, moment.pick(beside), "split")


def _take_other_hand(stroke: Stroke, moment: Moment) -> list[Stroke] | None:
    """The other hand's note name, in the octave that lies nearest to this hand."""
    there = moment.page.hands[1 - moment.hand][moment.k]
    near = [stroke.pitch + (p - stroke.pitch + 6) % 12 - 6 for p in there]
    return _other_key(stroke, moment.pick([p for p in near if p != stroke.pitch]), "other_hand")


def _anticipate(stroke: Stroke, moment: Moment) -> list[Stroke] | None:
    return _take_from(stroke, moment, moment.page.beside(moment.k, moment.hand, 1), "anticipation")


def _change_late(stroke: Stroke, moment: Moment) -> list[Stroke] | None:
    return _take_from(stroke, moment, moment.page.beside(moment.k, moment.hand, -1), "late_change")


def _take_from(
    stroke: Stroke, moment: Moment, other: tuple[int, ...], name: str
) -> list[Stroke] | None:
    """The note of the same rank in another chord of the same hand."""
    if not other:
        return None
    rank = moment.chord.index(stroke.pitch)
    return _other_key(stroke, moment.pick([other[min(rank, len(other) - 1)]]), name)


def _leave_out(stroke: Stroke, moment: Moment) -> list[Stroke] | None:
    return []


def _add(stroke: Stroke, moment: Moment) -> list[Stroke] | None:
    near = [stroke.pitch + step for step in range(-9, 10)]
    pitch = moment.pick(near)
    if pitch is None:
        return None
    at_s = stroke.onset_s + float(moment.rng.uniform(0.2, 0.8)) * (moment.next_s - stroke.onset_s)
    extra = replace(
        stroke, pitch=pitch, onset_s=at_s, release_s=at_s + 0.1, what="extra", score=None,
        kind=KIND_OF["added"],
    )  # fmt: skip
    return [stroke, extra]


def _strike_twice(stroke: Stroke, moment: Moment) -> list[Stroke] | None:
    at_s = stroke.onset_s + float(moment.rng.uniform(0.06, 0.12))
    again = replace(
        stroke, onset_s=at_s, release_s=max(stroke.release_s, at_s + 0.06), what="extra",
        velocity=stroke.velocity * 0.8, kind=KIND_OF["doubled"],
    )  # fmt: skip
    return [stroke, again]


def _brush(stroke: Stroke, moment: Moment) -> list[Stroke] | None:
    pitch = moment.pick([stroke.pitch - 1, stroke.pitch + 1])
    if pitch is None:
        return None
    at_s = stroke.onset_s + float(moment.rng.uniform(-0.015, 0.02))
    touched = replace(
        stroke, pitch=pitch, onset_s=at_s, release_s=at_s + 0.06, what="extra",
        velocity=stroke.velocity * float(moment.rng.uniform(0.25, 0.5)), kind=KIND_OF["brushed"],
    )  # fmt: skip
    return [stroke, touched]


WAYS: dict[str, Callable[[Stroke, Moment], list[Stroke] | None]] = {
    "accidental": _miss_accidental,
    "neighbour": _take_neighbour,
    "octave": _take_octave,
    "split": _split_octave,
    "other_hand": _take_other_hand,
    "anticipation": _anticipate,
    "late_change": _change_late,
    "left_out": _leave_out,
    "added": _add,
    "doubled": _strike_twice,
    "brushed": _brush,
}


def key_alter(fifths: int, step: str) -> int:
    """What a key signature does to a letter: -1, 0 or 1."""
    if fifths < 0:
        return -int(step in SHARPS[fifths:])
    return int(step in SHARPS[:fifths])
