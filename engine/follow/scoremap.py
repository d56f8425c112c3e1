"""The arrangement laid out for following: groups of simultaneous notes, and where each pitch is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement, Hands, ScoreNote, Span, notes_in, whole_span
from engine.follow import costs
from engine.follow.turns import find_turns

FloatArray = npt.NDArray[np.float64]
IndexArray = npt.NDArray[np.intp]

#: A grace note is looked for this many quarters before its main note ("before").
GRACE_LEAD_Q = 0.08


#: Leaving out small print counts this much of leaving out any other note; and where a hand's music
#: is mostly small print, so much more for a player who plays it.
SMALL_PRINT, SMALL_PLAYED = 0.1, 0.4
#: Each further note of a chord counts this much of the first.
CHORD_NOTE = 0.4
#: Semitones that a sign brings beside its note (either spelling of the neighbour).
EITHER_SIDE = (0, 1, 2, -1, -2)
REACH_OF_SIGN = {
    "mordent": (0, -1, -2),
    "inverted-mordent": (0, 1, 2),
    "tremolo": (0,),
}


@dataclass
class ScoreMap:
    """What is to be played, by group and by pitch. Lists, because they are read one by one.

    A *group* is all that the page puts on one moment. Indices of notes are those of the
    arrangement; a unison is present once, by its leader.

    Attributes:
        notes: indices of the notes to be played, in order of onset.
        q: onset of every note of the arrangement, quarters (grace notes shifted to where they
            are heard).
        group: group of every note of the arrangement, -1 for one that is not to be played.
        pitch, right: pitch and hand (1 right, 0 left) of every note of the arrangement.
        loose: 1 for a note whose moment is free (grace, arpeggio, ornament), by note.
        counted: 1 for a note that would be missed (neither optional nor grace), by note.
        heed: how much leaving a note out counts on the way (1, less for small print), by note.
        signs: notes with an ornament sign that sounds, by group; reach: semitones that a sign
            brings beside its note, by note; sign_end_q: until when, quarters, by note.
        group_q: onset of every group, quarters.
        members: the notes of every group.
        before_left, before_right: what leaving out all groups before would count, by group;
            before: the same two as arrays; group_q_array: group_q as one.
        small: 1 for small print where it is most of what its hand has, by note; before_small: what
            leaving out such notes in all groups before would count in addition, for a player who
            plays them, by group (empty where there are none).
        pitch_q, pitch_notes: for each MIDI pitch the onsets and indices of its notes, in order.
        s_per_q: seconds a quarter at the marked tempo, by group.
        bar: index of the bar, by group. bar_start: 1 at the first group of a bar;
            turns: groups where a player may go on who takes another turn, by bar.
    """

    notes: list[int]
    q: list[float]
    group: list[int]
    pitch: list[int]
    right: list[int]
    loose: list[int]
    counted: list[int]
    group_q: list[float]
    members: list[tuple[int, ...]]
    heed: list[float]
    signs: list[tuple[int, ...]]
    reach: dict[int, tuple[int, ...]]
    sign_end_q: dict[int, float]
    before_left: list[float]
    before_right: list[float]
    small: list[int]
    before_small: list[float]
    pitch_q: list[list[float]]
    pitch_notes: list[list[int]]
    s_per_q: list[float]
    bar: list[int]
    bar_start: npt.NDArray[np.bool_]
    turns: dict[int, tuple[int, ...]]
    group_q_array: FloatArray
    before: tuple[FloatArray, FloatArray]
    _last_at: dict[int, npt.NDArray[np.int32]] = field(default_factory=dict)
    _groups_of: dict[int, npt.NDArray[np.int32]] = field(default_factory=dict)

    @cached_property
    def landing_shares(self) -> tuple[FloatArray, FloatArray]:
        """By group: the chance to land there from anywhere, and how much of what lands near here
        lands on it (more on starts of bars)."""
        count, bars = len(self.group_q), max(int(self.bar_start.sum()), 1)
        anywhere = np.where(self.bar_start, costs.TO_BAR / bars, 0.0) + costs.TO_ANY / count
        length_q = self.group_q[-1] - self.group_q[0] + 1.0
        at_bars = np.where(self.bar_start, costs.NEAR_BAR * length_q / bars, 0.0)
        return anywhere, at_bars + (1.0 - costs.NEAR_BAR) * length_q / count

    @cached_property
    def most_shares(self) -> tuple[float, float]:
        """The most of either of the landing shares."""
        anywhere, near_here = self.landing_shares
        return float(anywhere.max()), float(near_here.max())

    def groups_of(self, pitch: int) -> npt.NDArray[np.int32]:
        """Groups that hold a pitch, ascending."""
        found = self._groups_of.get(pitch)
        if found is None:
            found = np.unique(
                np.array([self.group[k] for k in self.pitch_notes[pitch]], dtype=np.int32)
            )
            self._groups_of[pitch] = found
        return found

    def last_at(self, pitch: int) -> npt.NDArray[np.int32]:
        """For every group, the last group up to it that holds a pitch (-1: none)."""
        found = self._last_at.get(pitch)
        if found is None:
            found = np.full(len(self.group_q), -1, dtype=np.int32)
            where = self.groups_of(pitch)
            found[where] = where
            found = np.maximum.accumulate(found)
            self._last_at[pitch] = found
        return found


def heard_onsets(arrangement: Arrangement) -> FloatArray:
    """Where each note is heard, quarters: graces just before the beat or at their note's end."""
    table = arrangement.table
    q = table["onset_q"].copy()
    q[table["grace"] == 1] -= GRACE_LEAD_Q
    for i in np.flatnonzero(table["grace"] == 2):
        main = (table["onset_q"] == table["onset_q"][i]) & (table["grace"] == 0)
        main &= table["staff"] == table["staff"][i]
        if main.any():
            q[i] = table["onset_q"][i] + max(table["duration_q"][main].max() - 0.25, 0.05)
    return np.asarray(q, dtype=float)


def leaders(arrangement: Arrangement, span: Span, hands: Hands) -> IndexArray:
    """Notes to be played in a span by hand(s): each unison once, by its leader if present."""
    kept: dict[int, int] = {}
    unison = arrangement.table["unison"]
    for i in notes_in(arrangement, span, hands):
        lead = int(unison[i])
        if lead not in kept or i == lead:
            kept[lead] = int(i)
    return np.array(sorted(kept.values()), dtype=np.intp)


#: A written-out trill or tremolo: at least so many notes of one hand on two keys in turn, none
#: longer than this many quarters.
TRILL_NOTES, TRILL_NOTE_Q = 6, 0.13


def written_trills(table: npt.NDArray[Any], order: IndexArray) -> list[IndexArray]:
    """The notes of each trill or tremolo that is written out."""
    out: list[IndexArray] = []
    for hand in (0, 1):
        mine = order[(table["hand"][order] == hand) & (table["duration_q"][order] <= TRILL_NOTE_Q)]
        mine = mine[table["grace"][mine] == 0]
        if len(mine) < TRILL_NOTES:
            continue
        pitch, onset = table["pitch"][mine], table["onset_q"][mine]
        turns = (pitch[2:] == pitch[:-2]) & (pitch[1:-1] != pitch[:-2])
        turns &= (np.diff(onset)[1:] <= TRILL_NOTE_Q) & (np.diff(onset)[:-1] <= TRILL_NOTE_Q)
        turns &= np.diff(onset)[1:] > 0
        runs = [mine[start : end + 2] for start, end in _runs(turns)]
        out += [run for run in runs if len(run) >= TRILL_NOTES]
    return out


def _runs(flags: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Starts and ends of the stretches where flags are set."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def map_score(
    arrangement: Arrangement, span: Span | None = None, hands: Hands | None = None
) -> ScoreMap:
    """Lay out a span of an arrangement (all of it by default) for one or both hands."""
    table = arrangement.table
    q = heard_onsets(arrangement)
    chosen = leaders(arrangement, span or whole_span(arrangement), hands or "both")
    order = chosen[np.lexsort((table["pitch"][chosen], q[chosen]))]
    group_q, group_of = np.unique(q[order], return_inverse=True)
    group = np.full(len(table), -1, dtype=int)
    group[order] = group_of
    trills = written_trills(table, order)
    trilled, free = np.zeros(len(table), dtype=bool), np.zeros(len(table), dtype=bool)
    for run in trills:
        trilled[run], free[run[1:]] = True, True
    counted = (table["optional"] == 0) & (table["grace"] == 0) & ~free
    heed = np.where(table["optional"] == 1, SMALL_PRINT, 1.0) * ((table["grace"] == 0) & ~free)
    share = _share_of_chord(table, order, group_of)
    heed *= share
    small = _mostly_small(table, order) & (heed > 0)
    left, right = (
        _before(order, group_of, heed * (table["hand"] == hand), len(group_q)) for hand in (0, 1)
    )
    return ScoreMap(
        notes=order.tolist(),
        q=q.tolist(),
        group=group.tolist(),
        pitch=table["pitch"].tolist(),
        right=table["hand"].tolist(),
        loose=(_loose(table) | trilled).astype(int).tolist(),
        counted=counted.astype(int).tolist(),
        group_q=group_q.tolist(),
        members=_members(order, group_of, len(group_q)),
        heed=heed.tolist(),
        before_left=left.tolist(),
        before_right=right.tolist(),
        before=(left, right),
        small=small.astype(int).tolist(),
        before_small=_before(order, group_of, SMALL_PLAYED * share * small, len(group_q)).tolist()
        if small.any()
        else [],
        **_signs(arrangement, order, group_q, trills),
        **_by_pitch(order, q, table["pitch"]),
        **_marks_of_groups(arrangement, group_q),
        group_q_array=group_q,
    )


def _members(order: IndexArray, group_of: IndexArray, count: int) -> list[tuple[int, ...]]:
    out: list[list[int]] = [[] for _ in range(count)]
    for note, g in zip(order.tolist(), group_of.tolist(), strict=True):
        out[g].append(note)
    return [tuple(m) for m in out]


def _mostly_small(table: npt.NDArray[Any], order: IndexArray) -> npt.NDArray[np.bool_]:
    """Small print of a hand that has mostly that."""
    small = table["optional"] == 1
    out = np.zeros(len(table), dtype=bool)
    for hand in (0, 1):
        mine = order[table["hand"][order] == hand]
        if 2 * small[mine].sum() > len(mine):
            out[mine] = small[mine]
    return out


def _share_of_chord(table: npt.NDArray[Any], order: IndexArray, group_of: IndexArray) -> FloatArray:
    """By note: leaving out a whole chord of a hand counts less than as many single notes."""
    share = np.ones(len(table))
    hand_group = group_of * 2 + table["hand"][order]
    size = np.bincount(hand_group)[hand_group]
    share[order] = (1.0 + CHORD_NOTE * (size - 1)) / size
    return share


def _loose(table: npt.NDArray[Any]) -> npt.NDArray[np.bool_]:
    free = (table["grace"] > 0) | (table["arpeggiated"] > 0) | (table["ornament"] > 0)
    return np.asarray(free)


def _before(
    order: IndexArray,
    group_of: IndexArray,
    heed: FloatArray,
    count: int,
) -> FloatArray:
    in_group = np.bincount(group_of, weights=heed[order], minlength=count)
    return np.concatenate([[0.0], np.cumsum(in_group)])


def _signs(
    arrangement: Arrangement,
    order: IndexArray,
    group_q: FloatArray,
    trills: Sequence[IndexArray],
) -> dict[str, Any]:
    """Where ornament signs sound: from the group before their note to the note's end; a trill
    written out is one as well, of its two keys."""
    signs: list[list[int]] = [[] for _ in group_q]
    reach: dict[int, tuple[int, ...]] = {}
    end_q: dict[int, float] = {}
    table = arrangement.table
    for k in order[table["ornament"][order] == 1].tolist():
        onset = float(table["onset_q"][k])
        end = end_q[k] = onset + float(table["duration_q"][k])
        reach[k] = _reach_of_sign(arrangement.notes[k])
        first = int(np.searchsorted(group_q, onset - 1e-6))
        for g in range(max(first - 1, 0), int(np.searchsorted(group_q, end - 1e-6))):
            signs[g].append(k)
    for run in trills:
        k, last, onset = int(run[0]), run[-1], float(table["onset_q"][run[0]])
        reach.setdefault(k, (0, int(table["pitch"][run[1]]) - int(table["pitch"][k])))
        end_q.setdefault(k, float(table["onset_q"][last] + table["duration_q"][last]))
        for g in range(
            int(np.searchsorted(group_q, onset - 1e-6)),
            int(np.searchsorted(group_q, end_q[k] - 1e-6)),
        ):
            if k not in signs[g]:
                signs[g].append(k)
    return {"signs": [tuple(ks) for ks in signs], "reach": reach, "sign_end_q": end_q}


def _reach_of_sign(note: ScoreNote) -> tuple[int, ...]:
    """Semitones a sign brings; from a doubly altered note the next letter may be three away."""
    reach = REACH_OF_SIGN.get(note.ornament, EITHER_SIDE)
    away = 3 if note.alter < 0 else -3
    return (*reach, away) if abs(note.alter) == 2 and away // 3 * 2 in reach else reach


def _by_pitch(order: IndexArray, q: FloatArray, pitch: npt.NDArray[Any]) -> dict[str, Any]:
    onsets: list[list[float]] = [[] for _ in range(128)]
    notes: list[list[int]] = [[] for _ in range(128)]
    for i in order.tolist():
        onsets[pitch[i]].append(float(q[i]))
        notes[pitch[i]].append(i)
    return {"pitch_q": onsets, "pitch_notes": notes}


def _marks_of_groups(arrangement: Arrangement, group_q: FloatArray) -> dict[str, Any]:
    starts = np.array([float(b.onset_q) for b in arrangement.bars])
    bar = np.maximum(np.searchsorted(starts, group_q + GRACE_LEAD_Q, side="right") - 1, 0)
    step = arrangement.seconds_at(group_q + 1e-3) - arrangement.seconds_at(group_q)
    first = np.ones(len(bar), dtype=bool)
    first[1:] = bar[1:] != bar[:-1]
    first_group = {int(bar[g]): int(g) for g in np.flatnonzero(first)[::-1]}
    return {
        "s_per_q": (step * 1e3).tolist(),
        "bar": bar.tolist(),
        "bar_start": first,
        "turns": find_turns(arrangement.bars, first_group),
    }
