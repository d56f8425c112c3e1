"""The player's word over the page: a sidecar's hands and fingering applied to an arrangement."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from engine.arrangement import Arrangement, Bar, Problem, ScoreNote
from engine.read.note_places import find_places, is_place
from engine.read.sidecar import HandRule, Sidecar, Stretch


def bars_of(stretch: Stretch, bars: tuple[Bar, ...]) -> tuple[Bar, ...]:
    """The unfolded bars of a stretch; empty if it names a bar that is not there."""
    first = [b.written for b in bars if b.number == stretch.first.bar]
    last = [b.written for b in bars if b.number == stretch.last.bar]
    if not first or not last:
        return ()
    time = stretch.first.time
    within = range(min(first), max(last) + 1)
    return tuple(b for b in bars if b.written in within and (time is None or b.time == time))


def covers(stretch: Stretch, bar: Bar, beat: Fraction) -> bool:
    """Whether a beat of one of the stretch's bars lies inside it."""
    first, last = stretch.first, stretch.last
    if bar.number == first.bar and first.beat is not None and beat < first.beat:
        return False
    if bar.number == last.bar and last.beat is not None:
        whole = last.beat.denominator == 1
        return beat < last.beat + 1 if whole else beat <= last.beat
    return True


def apply_sidecar(arrangement: Arrangement, sidecar: Sidecar) -> Arrangement:
    """The arrangement with the player's hands and fingering. Later rules win over earlier ones.

    Ids and bars that the score does not have become problems of the arrangement.
    """
    problems = list(_unknown(arrangement, sidecar))
    notes = list(arrangement.notes)
    for rule in sidecar.hands:
        _give_hand(notes, arrangement, rule)
    fingering = fingering_by_id(arrangement, sidecar)
    for i, note in enumerate(notes):
        if note.note_id in fingering:
            notes[i] = replace(note, fingering=fingering[note.note_id])
    return replace(arrangement, notes=tuple(notes), problems=(*arrangement.problems, *problems))


def fingering_by_id(arrangement: Arrangement, sidecar: Sidecar) -> dict[str, str]:
    """The sidecar's fingering by note id; notes named by their place are looked up."""
    found = {k: finger for k, finger in sidecar.fingering.items() if not is_place(k)}
    for key, note_id in find_places(arrangement, sidecar.fingering).items():
        if note_id is not None:
            found[note_id] = sidecar.fingering[key]
    return found


def _give_hand(notes: list[ScoreNote], arrangement: Arrangement, rule: HandRule) -> None:
    stretch = rule.stretch
    inside = {b.index for b in bars_of(stretch, arrangement.bars)} if stretch else set()
    for i, note in enumerate(notes):
        bar = arrangement.bars[note.bar]
        taken = note.note_id in rule.notes or (
            stretch is not None
            and note.bar in inside
            and rule.staff in (None, note.staff)
            and rule.voice in (None, note.voice)
            and covers(stretch, bar, bar.beat_at(note.onset_q))
        )
        if taken:
            notes[i] = replace(note, hand=rule.hand)


def _unknown(arrangement: Arrangement, sidecar: Sidecar) -> list[Problem]:
    known = {head for note in arrangement.notes for head in note.heads}
    by_id = {key for key in sidecar.fingering if not is_place(key)}
    named = by_id | {n for rule in sidecar.hands for n in rule.notes}
    gone = sorted(named - known) + _lost_places(arrangement, sidecar)
    problems = []
    if gone:
        lost = ", ".join(gone[:10])
        problems.append(Problem("", f"the sidecar names notes that the score has not: {lost}"))
    for stretch in _stretches(sidecar):
        if not bars_of(stretch, arrangement.bars):
            what = f"the sidecar's bars {stretch.first.bar} to {stretch.last.bar} are not there"
            problems.append(Problem(stretch.first.bar, what))
    return problems


def _lost_places(arrangement: Arrangement, sidecar: Sidecar) -> list[str]:
    """Places that name no note, as they are printed (without what their bars held)."""
    found = find_places(arrangement, sidecar.fingering)
    return [key.partition(" ~")[0] for key, note_id in found.items() if note_id is None]


def _stretches(sidecar: Sidecar) -> list[Stretch]:
    hands = [rule.stretch for rule in sidecar.hands if rule.stretch is not None]
    sections = [rule.stretch for rule in sidecar.sections]
    return [*hands, *sections, *sidecar.phrases, *(rule.stretch for rule in sidecar.figures)]
