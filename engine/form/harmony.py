"""Regions of one harmony: root, quality and colour notes, with the page's own spelling.

Each beat is weighed against every chord: notes in it count for the chord, notes outside against,
colour notes (ninth, eleventh, sixth) less; the bass speaks for its root; what is spelled as the
chord would spell it counts a little more. A change of chord costs something, so that a passing
note does not make one (Viterbi). Then each region is looked at as a whole.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np

from engine.arrangement import Arrangement, Bar, Figure, Harmony
from engine.form.fifths import degree_words, place_of, text_at
from engine.form.keys import Floats, Ints

#: Each quality: its notes as places on the line of fifths from the root, and its sign.
QUALITIES: dict[str, tuple[tuple[int, ...], str]] = {
    "major": ((0, 4, 1), ""),
    "minor": ((0, -3, 1), "m"),
    "dominant seventh": ((0, 4, 1, -2), "7"),
    "minor seventh": ((0, -3, 1, -2), "m7"),
    "major seventh": ((0, 4, 1, 5), "maj7"),
    "half-diminished": ((0, -3, -6, -2), "m7b5"),
    "diminished": ((0, -3, -6), "dim"),
    "diminished seventh": ((0, -3, -6, -9), "dim7"),
    "augmented": ((0, 4, 8), "aug"),
    "minor with major seventh": ((0, -3, 1, 5), "m(maj7)"),
    "suspended fourth": ((0, -1, 1), "sus4"),
    "suspended second": ((0, 2, 1), "sus2"),
    "fifth": ((0, 1), "5"),
}
#: How unusual each quality is, as a cost a unit of weight (common practice: triads first).
_RARITY = {
    "major": 0.0, "minor": 0.0, "dominant seventh": 0.06, "minor seventh": 0.12,
    "major seventh": 0.14, "half-diminished": 0.16, "diminished": 0.12,
    "diminished seventh": 0.12, "augmented": 0.2, "minor with major seventh": 0.24,
    "suspended fourth": 0.2, "suspended second": 0.26, "fifth": 0.3,
}  # fmt: skip
#: What a note outside the chord costs, by its place from the root: the colours are cheaper.
_OUTSIDE = {2: 0.5, -1: 0.6, 3: 0.6, -2: 0.45, 5: 0.7}
ELSE = 1.0
#: What a change of chord costs at a beat, and at one inside a held pedal or an unchanged figure.
CHANGE, CHANGE_HELD = 0.3, 1.3
ROOT_IN_BASS = 0.35
SPELLED_SO = 0.12
ABSENT = 0.25
LINE_WEIGHT = 0.35
#: How colour notes are written in a chord symbol, by place from the root.
COLOUR_SIGNS = {
    2: "9", -1: "11", 3: "6", -2: "b7", 5: "maj7", -5: "b9", 9: "#9", 6: "#11", -4: "b13",
    -6: "b5", 8: "#5", 4: "3", -3: "b3", 7: "#1", -8: "b11", -9: "bb7",
}  # fmt: skip


@dataclass(frozen=True)
class Beats:
    """What sounds in each beat.

    Attributes:
        edges: their starts, and the end. weight: (beats, 12), by pitch class.
        bass: pitch class of the lowest note heard, -1 for none; (beats,).
        places: for each beat, weight by place on the line of fifths.
        own: the same without the line.
    """

    edges: tuple[Fraction, ...]
    weight: Floats
    bass: Ints
    places: tuple[dict[int, float], ...]
    own: tuple[dict[int, float], ...]


def find_harmonies(
    arrangement: Arrangement, line: Iterable[int], figures: Sequence[Figure] = ()
) -> tuple[Harmony, ...]:
    """Harmonies in order; they cover the piece but for silent stretches.

    A written pedal that stays down, and a figure that goes on unchanged, hold a harmony: a change
    within them needs more to be heard as one.
    """
    beats = weigh_beats(arrangement, set(line))
    if not len(beats.bass):
        return ()
    path = _best_path(_score(beats), _change_costs(arrangement, beats.edges, figures))
    regions = [(first, last) for first, last in _runs(path) if beats.weight[first:last].sum() > 0]
    keys = [(m.onset_q, m.value) for m in arrangement.marks if m.kind == "key"]
    said: dict[object, _Said] = {}
    return tuple(
        _merged(_describe(beats, a, b, _signature(keys, beats.edges[a]), said) for a, b in regions)
    )


def _signature(keys: Sequence[tuple[Fraction, int]], onset_q: Fraction) -> int:
    k = bisect_right(keys, onset_q, key=lambda key: key[0])
    return keys[k - 1][1] if k else 0


def beat_edges(bars: Sequence[Bar]) -> tuple[Fraction, ...]:
    """Starts of all beats (three units where the metre is compound), and the end."""
    edges: list[Fraction] = []
    for bar in bars:
        unit = Fraction(4, bar.beat_unit)
        step = 3 * unit if bar.beat_unit >= 8 and bar.beats % 3 == 0 else unit
        first = bar.onset_q - bar.lead_q
        at = first
        while at < bar.onset_q + bar.duration_q:
            if at + step > bar.onset_q:
                edges.append(max(at, bar.onset_q))
            at += step
    last = bars[-1]
    return (*edges, last.onset_q + last.duration_q)


def weigh_beats(arrangement: Arrangement, line: set[int]) -> Beats:
    """Weigh what sounds in each beat: by length, the line less than what carries it."""
    edges = beat_edges(arrangement.bars)
    n = len(edges) - 1
    weight = np.zeros((n, 12))
    places: list[dict[int, float]] = [{} for _ in range(n)]
    own: list[dict[int, float]] = [{} for _ in range(n)]
    starts = [float(e) for e in edges]
    onsets = arrangement.table["onset_q"].tolist()
    for i, k in _in_beats(arrangement, edges):
        note, onset = arrangement.notes[i], onsets[i]
        end = float(note.onset_q + note.duration_q)
        share = LINE_WEIGHT if i in line else 1.0
        place = place_of(note.step, note.alter)
        while 0 <= k < n and starts[k] < end:
            length = min(end, starts[k + 1]) - max(onset, starts[k])
            heard = share * (0.15 + length / (starts[k + 1] - starts[k]))
            weight[k, note.pitch % 12] += heard
            places[k][place] = places[k].get(place, 0.0) + heard
            if i not in line:
                own[k][place] = own[k].get(place, 0.0) + heard
            k += 1
    bass = np.array(_basses(arrangement, edges)) % 12
    return Beats(
        edges, weight, np.where(weight.sum(axis=1) > 0, bass, -1), tuple(places), tuple(own)
    )


def _in_beats(arrangement: Arrangement, edges: Sequence[Fraction]) -> Iterator[tuple[int, int]]:
    """Each note that counts, and the beat it is struck in (-1 before the first)."""
    starts = np.array([float(e) for e in edges])
    beats = np.searchsorted(starts, arrangement.table["onset_q"], side="right") - 1
    for i, (note, beat) in enumerate(zip(arrangement.notes, beats.tolist(), strict=True)):
        if not note.grace and not note.optional:
            yield i, beat


def _basses(arrangement: Arrangement, edges: Sequence[Fraction]) -> list[int]:
    """The bass of each beat: the lowest note struck in it, or the one before where that goes on.

    It goes on within its bar until a note at most a third higher is struck.
    """
    lowest: dict[int, int] = {}
    for i, k in _in_beats(arrangement, edges[:-1]):
        lowest[k] = min(lowest.get(k, 128), arrangement.notes[i].pitch)
    downbeats = {b.onset_q for b in arrangement.bars}
    basses: list[int] = []
    for k, start in enumerate(edges[:-1]):
        before = basses[-1] if basses and start not in downbeats else 128
        here = lowest.get(k, 128)
        basses.append(here if here <= before + 4 else before)
    return basses


_CHORDS = [(root, quality) for quality in QUALITIES for root in range(12)]


def _against(root: int, quality: str) -> Floats:
    """What a unit of each pitch class is worth to a chord."""
    notes = QUALITIES[quality][0]
    worth = np.full(12, -ELSE)
    for place, cost in _OUTSIDE.items():
        worth[(root + 7 * place) % 12] = -cost
    for place in notes:
        worth[(root + 7 * place) % 12] = 1.0
    return worth - _RARITY[quality]


def _score(beats: Beats) -> Floats:
    """How well each chord fits each beat: (beats, chords)."""
    table = np.array([_against(root, quality) for root, quality in _CHORDS])
    total = beats.weight.sum(axis=1, keepdims=True)
    score = beats.weight @ table.T / np.maximum(1.0, total)
    roots = np.array([root for root, _ in _CHORDS])
    score += ROOT_IN_BASS * (beats.bass[:, None] == roots[None, :])
    return np.asarray(score)


def _change_costs(
    arrangement: Arrangement, edges: Sequence[Fraction], figures: Sequence[Figure]
) -> list[float]:
    """What a change of chord costs at the start of each beat."""
    held = [(p.down_q, p.up_q) for p in arrangement.pedals if p.kind == "damper"]
    for figure in figures:
        held += _unchanged(arrangement, figure)
    held.sort()
    costs, k, until = [], 0, Fraction(-1)
    for edge in edges[:-1]:
        while k < len(held) and held[k][0] < edge:
            until = max(until, held[k][1])
            k += 1
        costs.append(CHANGE_HELD if edge < until else CHANGE)
    return costs


def _unchanged(arrangement: Arrangement, figure: Figure) -> list[tuple[Fraction, Fraction]]:
    """Stretches of two neighbouring cells with the same keys."""
    cells = [[arrangement.notes[i] for i in cell] for cell in figure.occurrences]
    return [
        (a[0].onset_q, b[0].onset_q + figure.cell_q)
        for a, b in pairwise(cells)
        if [n.pitch for n in a] == [n.pitch for n in b]
        and b[0].onset_q - a[0].onset_q == figure.cell_q
    ]


def _best_path(score: Floats, costs: Sequence[float]) -> list[int]:
    """The chord of each beat: staying is free, a change costs what it costs there."""
    total = score[0].copy()
    came_from = np.zeros(score.shape, np.int64)
    for k in range(1, len(score)):
        best = int(total.argmax())
        change = total[best] - costs[k] > total
        came_from[k] = np.where(change, best, np.arange(len(total)))
        total = np.where(change, total[best] - costs[k], total) + score[k]
    path = [int(total.argmax())]
    for k in range(len(score) - 1, 0, -1):
        path.append(int(came_from[k, path[-1]]))
    return path[::-1]


def _runs(path: Sequence[int]) -> list[tuple[int, int]]:
    """[first, last) beats of equal chords."""
    cuts = [0, *(k for k in range(1, len(path)) if path[k] != path[k - 1]), len(path)]
    return [(a, b) for a, b in pairwise(cuts) if b > a]


def _summed(rows: Sequence[dict[int, float]]) -> dict[int, float]:
    total: dict[int, float] = {}
    for row in rows:
        for place, weight in row.items():
            total[place] = total.get(place, 0.0) + weight
    return total


#: What is said of a chord: root, quality, colours, symbol, certainty.
_Said = tuple[str, str, tuple[str, ...], str, float]


def _describe(
    beats: Beats, first: int, last: int, fifths: int, said: dict[object, _Said]
) -> Harmony:
    """One region looked at as a whole; what is `said` of one like it is not worked out again."""
    places = _summed(beats.places[first:last])
    own = _summed(beats.own[first:last]) or places
    bass = int(next((b for b in beats.bass[first:last] if b >= 0), -1))
    like = (tuple(places.items()), tuple(own.items()), bass, fifths)
    if like not in said:
        said[like] = _say(places, own, bass, fifths)
    return Harmony(beats.edges[first], beats.edges[last], *said[like])


def _say(places: dict[int, float], own: dict[int, float], bass: int, fifths: int) -> _Said:
    (best, root, quality), (second, _, _) = _best_two(places, bass, fifths)
    colours = _colours(own, root, quality)
    return (
        text_at(root),
        quality,
        tuple(f"{degree_words(p)} {text_at(root + p)}" for p in colours),
        _symbol(root, quality, colours, _bass_place(places, bass)),
        round(float(np.clip(0.5 + 2.5 * (best - second), 0.0, 1.0)), 2),
    )


def _best_two(places: dict[int, float], bass: int, fifths: int) -> list[tuple[float, int, str]]:
    """(fit, root place, quality) of the two chords that fit best, of all with roots on the page.

    Fits are a unit of weight; of chords on enharmonic roots only the better stays.
    """
    roots = np.array(_roots(places))
    fits = _fits(places, roots) - _RARITIES - _absent(places, roots, fifths)
    fits += ROOT_IN_BASS * (7 * roots % 12 == bass)[:, None]
    flat = fits.ravel()
    best: dict[tuple[int, int], tuple[float, int, str]] = {}
    second = -np.inf
    for at in np.argsort(-flat, kind="stable").tolist():
        root, quality = int(roots[at // len(_NAMES)]), at % len(_NAMES)
        if flat[at] < second:
            break
        best.setdefault((7 * root % 12, quality), (float(flat[at]), root, _NAMES[quality]))
        if len(best) == 2:
            second = flat[at]
    return sorted(best.values(), key=lambda f: (-f[0], abs(f[1]), f[2]))[:2]


def _roots(places: dict[int, float]) -> list[int]:
    """Places that may be roots: all on the page, and thirds and fifths below them."""
    return sorted({p - step for p in places for step in (0, 1, 4, -3)})


def _worth(interval: int, notes: Sequence[int]) -> float:
    """What a unit of weight so far from a chord's root, spelled, is worth to the chord."""
    inside = next((p for p in notes if 7 * (interval - p) % 12 == 0), None)
    if inside is None:
        return -_OUTSIDE.get(interval, ELSE)
    return 1.0 + (SPELLED_SO if interval == inside else -SPELLED_SO)


_NAMES = tuple(QUALITIES)
_RARITIES = np.array([_RARITY[name] for name in _NAMES])
#: `_worth` of every spelled interval between two names with up to four signs, for every quality.
_WIDEST = 72
_WORTH = np.array(
    [[_worth(i, QUALITIES[q][0]) for q in _NAMES] for i in range(-_WIDEST, _WIDEST + 1)]
)
#: The notes of each quality, its root last where it has fewer than four; and which are real.
_STEPS = np.array([(*QUALITIES[q][0], 0, 0)[:4] for q in _NAMES])
_REAL = np.array([[k < len(QUALITIES[q][0]) for k in range(4)] for q in _NAMES])
#: Pitch classes of these notes, by the root's place modulo 12: (12, qualities, 4).
_CLASSES = 7 * (np.arange(12)[:, None, None] + _STEPS) % 12


def _absence(root: int) -> Floats:
    """What it costs that each of these notes is absent, the root so far above the signature."""
    in_key = (root + _STEPS >= -1) & (root + _STEPS <= 5)
    return np.asarray(ABSENT * _REAL * np.where(_STEPS == 0, 2.0, np.where(in_key, 0.6, 1.0)))


_ABSENT = np.array([_absence(root) for root in range(-_WIDEST, _WIDEST + 1)])


def _fits(places: dict[int, float], roots: Ints) -> Floats:
    """How well each chord accounts for the weights, a unit of weight: (roots, qualities)."""
    total = sum(places.values()) or 1.0
    intervals = np.array(list(places))[:, None] - roots
    weights = np.array(list(places.values()))[:, None, None]
    return np.asarray((weights * _WORTH[intervals + _WIDEST]).sum(axis=0) / total)


def _absent(places: dict[int, float], roots: Ints, fifths: int) -> Floats:
    """What each chord's absent notes cost: the root most, those of the key signature least."""
    silent = np.ones(12, bool)
    silent[[7 * place % 12 for place in places]] = False
    missing = silent[_CLASSES[roots % 12]]
    return np.asarray((_ABSENT[roots - fifths + _WIDEST] * missing).sum(axis=2))


def _colours(places: dict[int, float], root: int, quality: str) -> list[int]:
    """Places from the root of the notes beside the chord that carry weight, nearest first."""
    total = sum(places.values()) or 1.0
    classes = {7 * p % 12 for p in QUALITIES[quality][0]}
    found = [
        place - root
        for place, weight in places.items()
        if 7 * (place - root) % 12 not in classes and weight >= 0.08 * total
    ]
    return sorted(found, key=lambda p: (-places[root + p], p))[:3]


def _bass_place(places: dict[int, float], bass: int) -> int | None:
    here = [p for p in places if 7 * p % 12 == bass]
    return max(here, key=lambda p: places[p]) if here else None


def _symbol(root: int, quality: str, colours: Sequence[int], bass: int | None) -> str:
    """As printed over a staff: "Ebm(add9)", "Cb/Eb"."""
    signs = [COLOUR_SIGNS[p] for p in colours if p in COLOUR_SIGNS]
    added = "(" + ",".join(f"add{s}" if s.isdigit() else s for s in signs) + ")" if signs else ""
    slash = "" if bass is None or 7 * bass % 12 == 7 * root % 12 else f"/{text_at(bass)}"
    return text_at(root) + QUALITIES[quality][1] + added + slash


def _merged(harmonies: Iterable[Harmony]) -> list[Harmony]:
    """Neighbours with one symbol are one region."""
    out: list[Harmony] = []
    for h in harmonies:
        if out and out[-1].symbol == h.symbol and out[-1].to_q == h.from_q:
            before = out.pop()
            certainty = max(before.certainty, h.certainty)
            out.append(
                Harmony(before.from_q, h.to_q, h.root, h.quality, h.colours, h.symbol, certainty)
            )
        else:
            out.append(h)
    return out
