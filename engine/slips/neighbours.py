"""Slips of memory: a note from the next or the last harmony, or from the other twin."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from fractions import Fraction

from engine.arrangement import Figure, Hand, ScoreNote, Twins
from engine.slips import kinds
from engine.slips.alike import MOST
from engine.slips.scene import Scene
from engine.slips.tellers import Telling, in_octave, plain

#: How far, in quarters, the next or last harmony is looked for where no figure tells.
REACH_Q = 4.0


def tell_anticipation(scene: Scene) -> Telling | None:
    """What this hand has next: in its next stroke, its next cell, or its next harmony."""
    return _likeliest(_beside(scene, 1), _from_cell(scene, 1), _from_harmony(scene, ahead=True))


def tell_late_change(scene: Scene) -> Telling | None:
    """What this hand had last: in its last stroke, its last cell, or its last harmony."""
    return _likeliest(_beside(scene, -1), _from_cell(scene, -1), _from_harmony(scene, ahead=False))


def _likeliest(*told: Telling | None) -> Telling | None:
    return max((t for t in told if t), key=lambda t: t.likelihood, default=None)


def _beside(scene: Scene, way: int) -> Telling | None:
    """The key stands in the next (or last) stroke of this hand and is none of the present ones."""
    if scene.played is None or scene.score is None or scene.written is None:
        return None
    chord = scene.next_chord(way)
    if in_octave(scene):
        return None
    if not chord or scene.played.pitch in {n.pitch for n in scene.own_chord()}:
        return None
    where = "the next stroke" if way > 0 else "the last stroke"
    chord = sorted(chord, key=lambda n: n.pitch)
    rank = sum(n.pitch < scene.written.pitch for n in scene.own_chord())
    for k, other in enumerate(chord):
        if other.pitch == scene.played.pitch:
            # A hand that is in thought at another chord takes each note from its own place in it.
            own = k == min(rank, len(chord) - 1)
            return _telling(way, 0.8 if own else 0.2 / len(chord), where, other)
    return None


def _from_cell(scene: Scene, way: int) -> Telling | None:
    """What the same place of the figure has in the next or the last different cell."""
    if scene.score is None or scene.played is None or scene.written is None:
        return None
    found = place_in_figure(scene.arrangement.form.figures, scene.score)
    if found is None:
        return None
    figure, cell, place = found
    here = _pitches(scene, figure, cell)
    if scene.played.pitch in here:
        return None
    for k in range(cell + way, cell + 3 * way, way):
        if not 0 <= k < len(figure.occurrences):
            return None
        other = scene.arrangement.notes[figure.occurrences[k][place]]
        if abs(other.onset_q - scene.written.onset_q) > 2 * figure.cell_q:
            return None
        if _pitches(scene, figure, k) != here:
            if other.pitch != scene.played.pitch:
                return None
            return _telling(way, 0.4, f"place {place + 1} of the figure", other)
    return None


def _pitches(scene: Scene, figure: Figure, cell: int) -> set[int]:
    return {scene.arrangement.notes[i].pitch for i in figure.occurrences[cell]}


def place_in_figure(figures: tuple[Figure, ...], note: int) -> tuple[Figure, int, int] | None:
    """Figure, number of the cell and place in it of a note; None where it is in no figure."""
    for figure in figures:
        for k, cell in enumerate(figure.occurrences):
            if note in cell:
                return figure, k, cell.index(note)
    return None


def _telling(way: int, likelihood: float, where: str, other: ScoreNote) -> Telling:
    name = plain(other.name)
    if way > 0:
        evidence = f"{name} is {where} to come"
        return Telling(
            kinds.ANTICIPATION,
            likelihood,
            evidence,
            f"{name} comes next, it came too soon",
            other.name,
        )
    evidence = f"{name} was {where} before it"
    words = f"{name} came before, it was kept too long"
    return Telling(kinds.LATE_CHANGE, likelihood, evidence, words, other.name)


def _from_harmony(scene: Scene, ahead: bool) -> Telling | None:
    """The key stands in the neighbouring harmony of this hand and not in the present one."""
    if scene.played is None:
        return None
    here, there = _neighbouring(scene, ahead)
    if scene.played.pitch in {n.pitch for n in here}:
        return None
    for other in there:
        if other.pitch == scene.played.pitch:
            mine = {n.pitch % 12 for n in here}
            likelihood = 0.15 if other.pitch % 12 not in mine else 0.05
            return _telling(1 if ahead else -1, likelihood, "written", other)
    return None


def _neighbouring(scene: Scene, ahead: bool) -> tuple[list[ScoreNote], list[ScoreNote]]:
    """Notes of this hand in the present harmony, and in the next or last one."""
    regions = scene.arrangement.form.harmonies
    q = scene.onset_q
    k = next((i for i, h in enumerate(regions) if h.from_q <= q < h.to_q), None)
    own = [n for n in scene.written_within(2 * REACH_Q) if n.hand == scene.hand]
    if k is None:
        here = [n for n in own if n.onset_q == q]
        edge = [n for n in own if (q < n.onset_q <= q + 1) if ahead] if ahead else []
        back = [] if ahead else [n for n in own if q - 1 <= n.onset_q < q]
        return here, edge or back
    other = k + 1 if ahead else k - 1
    here = [n for n in own if regions[k].from_q <= n.onset_q < regions[k].to_q]
    if not 0 <= other < len(regions):
        return here, []
    near = regions[other]
    within = (near.from_q - q <= REACH_Q / 2) if ahead else (q - near.to_q <= REACH_Q / 2)
    there = [n for n in own if near.from_q <= n.onset_q < near.to_q] if within else []
    return here, there


def tell_twin(scene: Scene) -> Telling | None:
    """The played key is what a passage that begins alike has at this point."""
    return _likeliest(_from_twins(scene), _from_approach(scene))


def _from_approach(scene: Scene) -> Telling | None:
    """What follows elsewhere on the same strokes of this hand; the more strokes, the likelier."""
    if scene.played is None or scene.written is None:
        return None
    path = scene.stage.paths[scene.hand]
    best: Telling | None = None
    for stroke, alike in path.other_ways(scene.written.onset_q):
        notes = [scene.arrangement.notes[i] for i in path.notes[stroke]]
        for note in notes:
            if note.pitch == scene.played.pitch:
                bar = scene.arrangement.bars[note.bar].number
                likelihood = 0.5 * alike / MOST / len(notes)
                evidence = f"bar {bar} has {plain(note.name)} after the same {alike} strokes"
                told = Telling(
                    kinds.TWIN, likelihood, evidence, f"that is how bar {bar} goes on", note.name
                )
                if best is None or likelihood > best.likelihood:
                    best = told
    return best


def _from_twins(scene: Scene) -> Telling | None:
    """What the other of two twins has at the same distance past their parting."""
    if scene.played is None:
        return None
    for twins in scene.arrangement.form.twins:
        for onset_q in scene.same_place_each_time():
            for other in _mirrored(twins, onset_q):
                note = _twin_note(scene, other)
                if note is not None:
                    bar = scene.arrangement.bars[note.bar].number
                    return Telling(
                        kinds.TWIN,
                        0.5,
                        f"bar {bar} has {plain(note.name)} at this point and begins alike",
                        f"that is how bar {bar} goes on",
                        note.name,
                    )
    return None


def _mirrored(twins: Twins, onset_q: Fraction | float) -> list[Fraction | float]:
    """Where the other twin is at the same distance past the parting (at most two bars)."""
    out = []
    for mine, other in (twins.parting, twins.parting[::-1]):
        past = onset_q - mine
        if 0 <= past <= 8:
            out.append(other + past)
    return out


def _twin_note(scene: Scene, at_q: Fraction | float) -> ScoreNote | None:
    """The twin's note of the played key at a moment, if this passage has not that key itself."""
    if scene.played is None or scene.written is None:
        return None
    table = scene.arrangement.table["onset_q"]
    first, last = bisect_left(table, float(at_q)), bisect_right(table, float(at_q))
    hand: Hand = scene.written.hand
    for note in scene.arrangement.notes[first:last]:
        if note.pitch == scene.played.pitch and note.hand == hand:
            return note
    return None
