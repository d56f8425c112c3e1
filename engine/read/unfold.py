"""From the score as written to the arrangement as played: repeats unfolded, ties joined."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from engine.arrangement import Arrangement, Bar, Mark, ScoreNote
from engine.read.limits import (
    MAX_OPEN_TIES,
    MAX_SCORE_Q,
    MAX_UNFOLDED_MARKS,
    MAX_UNFOLDED_NOTES,
    UNFOLDS_TOO_FAR,
)
from engine.read.pedalling import pedal_spans
from engine.read.repeats import playing_order
from engine.read.report import Report
from engine.read.tempo import tempo_map
from engine.read.written import WrittenBar, WrittenMark, WrittenNote, WrittenScore

#: Two heads meet although the second begins this much late or early (tuplets that the file's
#: divisions could only round).
_TIE_SLACK_Q = Fraction(1, 24)
_GRACE_ORDER = {"before": 0, "": 1, "after": 2}


def unfold(score: WrittenScore, content_hash: str, report: Report) -> Arrangement:
    """The arrangement: every note in playing order, with the time through that brings it.

    Raises:
        ScoreError: unfolded it is larger than `engine.read.limits` allows, or has no notes.
    """
    order = playing_order(score.bars, report)
    _refuse_excess(score, order, report)
    bars = _unfold_bars(score, order)
    if bars[-1].onset_q + bars[-1].duration_q > MAX_SCORE_Q:
        raise report.refusal(f"the score is longer than {MAX_SCORE_Q} quarters", "correct it")
    struck = _join_ties(score, bars)
    loose = tuple(_loose_ties(struck))
    notes = _finish_notes(struck)
    if not notes:
        raise report.refusal("the score holds no notes", "give one with notes for piano")
    return Arrangement(
        title=score.title,
        content_hash=content_hash,
        notes=notes,
        bars=bars,
        tempo=tempo_map(score, bars, report),
        pedals=pedal_spans(score, bars, report),
        marks=_in_order((*_marks_as_played(score, bars), *loose)),
        fifths=score.bars[0].fifths,
        problems=report.problems,
        spelled=score.spelled,
    )


def _refuse_excess(score: WrittenScore, order: list[int], report: Report) -> None:
    notes = sum(len(score.bars[i].notes) for i in order)
    if notes > MAX_UNFOLDED_NOTES:
        raise report.refusal(
            f"the score unfolds to more than {MAX_UNFOLDED_NOTES} notes",
            UNFOLDS_TOO_FAR,
        )
    if sum(map(_signs_in, (score.bars[i] for i in order))) > MAX_UNFOLDED_MARKS:
        raise report.refusal(
            f"the score unfolds to more than {MAX_UNFOLDED_MARKS} marks",
            UNFOLDS_TOO_FAR,
        )


def _signs_in(bar: WrittenBar) -> int:
    return len(bar.marks) + len(bar.tempos) + len(bar.pedals)


def _unfold_bars(score: WrittenScore, order: list[int]) -> tuple[Bar, ...]:
    bars: list[Bar] = []
    visits: dict[int, int] = defaultdict(int)
    onset_q = Fraction(0)
    for index, written in enumerate(order):
        source = score.bars[written]
        visits[written] += 1
        bars.append(
            Bar(
                index, source.number, written, visits[written], onset_q, source.duration_q,
                source.beats, source.beat_unit, source.lead_q,
            )
        )  # fmt: skip
        onset_q += source.duration_q
    return tuple(bars)


@dataclass(slots=True)
class _Sounding:
    """A struck note that may still be tied on. last_bar, last_q: where its last head stands."""

    head: WrittenNote
    bar: Bar
    order: int
    onset_q: Fraction
    end_q: Fraction
    heads: list[str]
    optional: bool
    ornament: str
    tied_on: bool
    last_bar: Bar
    last_q: Fraction


def _join_ties(score: WrittenScore, bars: Iterable[Bar]) -> list[_Sounding]:
    """One `_Sounding` for each chain of tied heads, in order of playing."""
    struck: list[_Sounding] = []
    open_ties: dict[int, list[_Sounding]] = defaultdict(list)
    for bar in bars:
        for note in _in_playing_order(score.bars[bar.written].notes):
            onset_q = bar.onset_q + note.at_q
            held = _take_tie(open_ties[note.pitch], note, onset_q) if note.tie_stop else None
            if held is None:
                held = _Sounding(
                    note, bar, len(struck), onset_q, onset_q + note.duration_q, [note.note_id],
                    note.optional, note.ornament, note.tie_start, bar, onset_q,
                )  # fmt: skip
                struck.append(held)
            else:
                _tie_on(held, note, bar, onset_q)
            if note.tie_start:
                open_ties[note.pitch].append(held)
                del open_ties[note.pitch][:-MAX_OPEN_TIES]
    return struck


def _loose_ties(struck: Iterable[_Sounding]) -> Iterator[Mark]:
    """Ties that no time through finds a note to end on ("tie-open"), or to begin from."""
    sounding = list(struck)
    went_on = {head for s in sounding for head in s.heads[:-1]}
    came_from = {head for s in sounding for head in s.heads[1:]}
    for s in sounding:
        if s.bar.time == 1 and s.tied_on and s.heads[-1] not in went_on:
            yield Mark("tie-open", s.last_q, s.last_bar.index, note_id=s.heads[-1])
        if s.bar.time == 1 and s.head.tie_stop and s.head.note_id not in came_from:
            yield Mark("tie-open", s.onset_q, s.bar.index, "from nowhere", note_id=s.head.note_id)


def _in_playing_order(notes: list[WrittenNote]) -> list[WrittenNote]:
    return sorted(notes, key=lambda n: (n.at_q, _GRACE_ORDER[n.grace]))


def _take_tie(waiting: list[_Sounding], note: WrittenNote, onset_q: Fraction) -> _Sounding | None:
    """The tied note that this head goes on: the one that ends here, its own voice first.

    Where none ends here (some programs write a chord's inner notes too short) it is the nearest
    of the same voice within a bar. Ties that can no longer be gone on with are dropped.
    """
    waiting[:] = [h for h in waiting if onset_q - h.end_q < max(h.bar.duration_q, _TIE_SLACK_Q)]
    if not waiting:
        return None

    def distance(held: _Sounding) -> tuple[bool, bool, Fraction]:
        gap_q = abs(held.end_q - onset_q)
        return gap_q > _TIE_SLACK_Q, held.head.voice != note.voice, gap_q

    best = min(waiting, key=distance)
    apart, other_voice, _ = distance(best)
    if apart and (other_voice or best.onset_q >= onset_q):
        return None
    waiting.remove(best)
    return best


def _tie_on(held: _Sounding, note: WrittenNote, bar: Bar, onset_q: Fraction) -> None:
    held.last_bar, held.last_q = bar, onset_q
    held.end_q = onset_q + note.duration_q
    held.heads.append(note.note_id)
    held.tied_on = note.tie_start
    held.optional = held.optional and note.optional
    held.ornament = held.ornament or note.ornament


def _finish_notes(struck: list[_Sounding]) -> tuple[ScoreNote, ...]:
    """Sorted by onset, graces before their main note, pitch; unisons pointed to their leader."""
    struck.sort(key=_sort_key)
    leaders = _unison_leaders(struck)
    return tuple(_score_note(s, leaders.get(i, i)) for i, s in enumerate(struck))


def _sort_key(note: _Sounding) -> tuple[Fraction, int, int, int]:
    grace = note.head.grace
    # Graces keep their order on the page: it is the order they are played in.
    pitch = note.head.pitch if not grace else 0
    return note.onset_q, _GRACE_ORDER[grace], pitch, note.order


def _unison_leaders(struck: list[_Sounding]) -> dict[int, int]:
    """For each note that shares its key and moment with a longer one: the index of that one."""
    groups: list[list[int]] = []  # the notes are sorted: those of one key and moment are neighbours
    for i, note in enumerate(struck):
        before = struck[i - 1]
        if note.head.grace:
            continue
        if (
            groups
            and groups[-1][-1] == i - 1
            and before.head.pitch == note.head.pitch
            and before.onset_q == note.onset_q
        ):
            groups[-1].append(i)
        else:
            groups.append([i])
    leaders: dict[int, int] = {}
    for group in groups:
        if len(group) > 1:
            leader = min(group, key=lambda i: (struck[i].optional, -struck[i].end_q, i))
            leaders.update(dict.fromkeys(group, leader))
    return leaders


def _score_note(note: _Sounding, unison: int) -> ScoreNote:
    head = note.head
    return ScoreNote(
        head.note_id, note.bar.time, note.onset_q, note.end_q - note.onset_q, head.pitch,
        head.step, head.alter, head.octave, head.hand, head.staff, head.voice, note.bar.index,
        head.grace, note.optional, note.ornament, head.arpeggiated, head.fingering,
        tuple(note.heads), unison,
    )  # fmt: skip


def _in_order(marks: Iterable[Mark]) -> tuple[Mark, ...]:
    return tuple(sorted(marks, key=lambda m: (m.onset_q, m.bar)))


def _marks_as_played(score: WrittenScore, bars: Iterable[Bar]) -> Iterator[Mark]:
    """The marks of each bar as it comes, and the key signature where going back changes it.

    Going back to a bar brings back the signature in force there on the page, though none is
    printed in it.
    """
    in_force = _signatures(score)
    sounding = in_force[0]
    for bar in bars:
        written = score.bars[bar.written]
        changes = [m for m in written.marks if m.kind == "key"]
        key = in_force[bar.written]
        if key.value != sounding.value and not any(m.at_q == 0 for m in changes):
            yield Mark("key", bar.onset_q, bar.index, key.text, key.value)
        sounding = changes[-1] if changes else key
        for m in written.marks:
            onset_q = bar.onset_q + m.at_q
            yield Mark(m.kind, onset_q, bar.index, m.text, m.value, m.staff, m.note_id)


def _signatures(score: WrittenScore) -> list[WrittenMark]:
    """The key signature in force where each written bar begins, before what the bar itself has."""
    now = WrittenMark("key", Fraction(0))
    found = []
    for bar in score.bars:
        found.append(now)
        now = next((m for m in reversed(bar.marks) if m.kind == "key"), now)
    return found
