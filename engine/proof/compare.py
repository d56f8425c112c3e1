"""Two versions of a page compared bar by bar: what changed, and what practice still counts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher

from engine.arrangement import Arrangement, Bar, ScoreNote
from engine.pitch_names import printed

#: What a bar holds, for comparison: of each note its moment in the bar, key, length and hand.
Content = tuple[tuple[object, ...], ...]


@dataclass(frozen=True, slots=True)
class Change:
    """One bar that is not the same in both.

    Attributes:
        kind: changed, added, taken out, respelled, refingered, pedalled otherwise, moved between
            the hands.
        old_bar, new_bar: printed numbers, "" where there is none.
        hands: which hands' notes differ; practice of the other still counts.
        words: what changed.
        counts: whether practice of the old bar still counts as practice of the new one.
    """

    kind: str
    old_bar: str
    new_bar: str
    hands: tuple[str, ...]
    words: str
    counts: bool


def compare_pages(old: Arrangement, new: Arrangement) -> tuple[Change, ...]:
    """What changed from the old page to the new, in order of its bars.

    Bars are matched by what they hold, so that an inserted bar does not make all later ones
    new. A bar's practice counts on where its keys, moments and hands are the same: names and
    fingering may change.
    """
    ours, theirs = _written(old), _written(new)
    keys_old = [(bar.duration_q, _sounding(bar, notes)) for bar, notes in ours]
    keys_new = [(bar.duration_q, _sounding(bar, notes)) for bar, notes in theirs]
    changes: list[Change] = []
    pedals_old, pedals_new = _pedalling(old), _pedalling(new)
    matcher = SequenceMatcher(None, keys_old, keys_new, autojunk=False)
    for tag, a, b, c, d in matcher.get_opcodes():
        if tag == "equal":
            for mine, other in zip(ours[a:b], theirs[c:d], strict=True):
                if change := _same_keys(mine, other):
                    changes.append(change)
                if pedals_old[mine[0].index] != pedals_new[other[0].index]:
                    changes.append(_pedalled(mine[0], other[0]))
        else:
            changes += _differing(ours[a:b], theirs[c:d])
    return tuple(changes)


def _pedalling(arrangement: Arrangement) -> dict[int, list[tuple[object, ...]]]:
    """For each bar where in it the damper goes down and up."""
    out: dict[int, list[tuple[object, ...]]] = {bar.index: [] for bar in arrangement.bars}
    for span in arrangement.pedals:
        for way, moment_q in (("down", span.down_q), ("up", span.up_q)):
            bar = arrangement.bar_at(moment_q)
            out[bar.index].append((moment_q - bar.onset_q, way, span.kind))
    return {bar: sorted(moves, key=str) for bar, moves in out.items()}


def _pedalled(old: Bar, new: Bar) -> Change:
    words = "the pedal is written otherwise"
    return Change("pedalled otherwise", old.number, new.number, (), words, True)


_Written = tuple[Bar, list[ScoreNote]]


def _written(arrangement: Arrangement) -> list[_Written]:
    """Each written bar once, with its notes."""
    bars: dict[int, _Written] = {b.index: (b, []) for b in _once(arrangement.bars)}
    for note in arrangement.notes:
        if note.bar in bars:
            bars[note.bar][1].append(note)
    return [bars[k] for k in sorted(bars, key=lambda k: bars[k][0].written)]


def _once(bars: Sequence[Bar]) -> list[Bar]:
    seen: dict[int, Bar] = {}
    for bar in bars:
        seen.setdefault(bar.written, bar)
    return list(seen.values())


def _sounding(bar: Bar, notes: Sequence[ScoreNote]) -> Content:
    start = bar.onset_q - bar.lead_q
    return tuple(sorted((n.onset_q - start, n.pitch, n.duration_q, n.hand, n.grace) for n in notes))


def _same_keys(old: _Written, new: _Written) -> Change | None:
    """Bars with the same keys: perhaps spelled or fingered otherwise."""
    before, after = sorted(old[1], key=_order), sorted(new[1], key=_order)
    names = [(a.name, b.name) for a, b in zip(before, after, strict=True) if a.name != b.name]
    if names:
        a, b = names[0]
        words = f"{printed(a)} is now {printed(b)}" + (
            f", and {len(names) - 1} more" if names[1:] else ""
        )
        return Change("respelled", old[0].number, new[0].number, (), words, True)
    if any(a.fingering != b.fingering for a, b in zip(before, after, strict=True)):
        return Change("refingered", old[0].number, new[0].number, (), "other fingering", True)
    return None


def _order(note: ScoreNote) -> tuple[object, ...]:
    return note.onset_q, note.pitch, note.duration_q, note.hand, note.grace


def _differing(old: Sequence[_Written], new: Sequence[_Written]) -> Iterator[Change]:
    """Bars that were replaced, one for one as far as they go; the rest added or taken out."""
    for a, b in zip(old, new, strict=False):
        yield _changed(a, b)
    for bar, _ in old[len(new) :]:
        yield Change("taken out", bar.number, "", ("left", "right"), "the bar is gone", False)
    for bar, _ in new[len(old) :]:
        yield Change("added", "", bar.number, ("left", "right"), "a new bar", False)


def _changed(old: _Written, new: _Written) -> Change:
    if _same_but_hands(old, new):
        words = "the same keys, taken by the other hand"
        hands: tuple[str, ...] = ("left", "right")
        kind = "moved between the hands"
        return Change(kind, old[0].number, new[0].number, hands, words, False)
    hands = tuple(
        hand
        for hand in ("left", "right")
        if _sounding(old[0], [n for n in old[1] if n.hand == hand])
        != _sounding(new[0], [n for n in new[1] if n.hand == hand])
    )
    if not hands:
        hands, words = ("left", "right"), "the same keys in a longer or shorter bar"
    else:
        words = _difference(old[1], new[1])
    return Change("changed", old[0].number, new[0].number, hands, words, False)


def _same_but_hands(old: _Written, new: _Written) -> bool:
    """The same keys at the same moments of bars of one length, but not in the same hands."""
    if old[0].duration_q != new[0].duration_q or _sounding(*old) == _sounding(*new):
        return False
    mine, other = ([replace(n, hand="right") for n in notes] for _, notes in (old, new))
    return _sounding(old[0], mine) == _sounding(new[0], other)


def _difference(old: Sequence[ScoreNote], new: Sequence[ScoreNote]) -> str:
    gone = _names(old, new)
    come = _names(new, old)
    if not gone and not come:
        return "the same keys, held or placed otherwise"
    parts = []
    if gone:
        parts.append(f"without {', '.join(gone)}")
    if come:
        parts.append(f"with {', '.join(come)}")
    return "now " + " and ".join(parts)


def _names(these: Sequence[ScoreNote], those: Sequence[ScoreNote]) -> list[str]:
    """Names of the notes of one bar that the other has not, at most four."""
    left = [n.name for n in those]
    out = []
    for note in these:
        if note.name in left:
            left.remove(note.name)
        else:
            out.append(printed(note.name))
    return out if len(out) <= 4 else [*out[:3], f"{len(out) - 3} more"]
