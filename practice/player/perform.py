"""The performance: route, strokes, slips and pedal put together, with the truth beside it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from engine.arrangement import Arrangement, Hands, Span, whole_span
from engine.performance import DAMPER, KeyEvent
from practice.player.character import Character
from practice.player.ornaments import GRACE_S, realise
from practice.player.pedal import Times, find_holds, move_pedal
from practice.player.route import Stretch, find_onsets, walk
from practice.player.slips import KIND_OF, Moment, Page, choose_way, slip
from practice.player.stroke import Stroke, What, settle_keys

#: The foot comes up at the latest this long after the last key.
FOOT_AFTER_S = 0.5


@dataclass(frozen=True, slots=True)
class Truth:
    """What one note-on is.

    Attributes:
        played: its index among the note-ons, by (time, pitch).
        what: right, wrong, extra or ornament.
        score: index of the score note it plays, where it is right.
        kind: of slip, "" where none.
        stands_for: the score note a wrong one replaced, or that an extra one came with.
        ornament_of: the score note whose sign it plays out.
    """

    played: int
    what: What
    score: int | None = None
    kind: str = ""
    stands_for: int | None = None
    ornament_of: int | None = None


@dataclass(frozen=True, slots=True)
class Performance:
    """Events in order of time; truth, one a note-on; missing: score notes never struck, once for
    each time they were left out."""

    events: tuple[KeyEvent, ...]
    truth: tuple[Truth, ...]
    missing: tuple[int, ...]


def perform(
    arrangement: Arrangement,
    character: Character,
    rng: np.random.Generator,
    *,
    span: Span | None = None,
    hands: Hands = "both",
    start_s: float = 0.0,
    rate: float = 1.0,
) -> list[KeyEvent]:
    """One performance as MIDI events.

    Args:
        character: who plays. rng: all chance comes from it.
        span, hands: what is played (None: everything).
        start_s: the moment at which the span begins.
        rate: share of the marked tempo that is asked for.
    """
    return list(
        perform_with_truth(
            arrangement, character, rng, span=span, hands=hands, start_s=start_s, rate=rate
        ).events
    )


def perform_with_truth(
    arrangement: Arrangement,
    character: Character,
    rng: np.random.Generator,
    *,
    span: Span | None = None,
    hands: Hands = "both",
    start_s: float = 0.0,
    rate: float = 1.0,
) -> Performance:
    """The same, with what each note-on is. Arguments as for `perform`."""
    onsets = find_onsets(arrangement, span or whole_span(arrangement), hands)
    stretches = walk(onsets, character, rng, start_s, rate)
    strokes: list[Stroke] = []
    missing: list[int] = []
    moves: list[tuple[float, int]] = []
    page = Page(arrangement, onsets)
    for k, stretch in enumerate(stretches):
        played, left_out = _play_stretch(page, stretch, character, rng)
        kept, lost = settle_keys(played)
        strokes += kept
        missing += left_out + [s.score for s in lost if s.what != "extra" and s.score is not None]
        halts_s = float(stretches[k + 1].time_s[0]) - 0.1 if k + 1 < len(stretches) else np.inf
        moves += _pedal_stretch(page, stretch, character, rng, kept, halts_s)
    return _write_out(strokes, moves, missing)


def _play_stretch(
    page: Page, stretch: Stretch, character: Character, rng: np.random.Generator
) -> tuple[list[Stroke], list[int]]:
    """All strokes of a stretch, and the score notes left out."""
    times = Times(page.arrangement, page.onsets, stretch)
    strokes: list[Stroke] = []
    left_out: list[int] = []
    for j, at_s in enumerate(stretch.time_s.tolist()):
        k = stretch.first + j
        next_s = float(stretch.time_s[j + 1]) if j + 1 < len(stretch.time_s) else at_s + 0.5
        for hand in (0, 1):
            way = choose_way(page, k, hand, character.slips, rng)
            for stroke in _strike_chord(page, k, hand, at_s, times, character, rng):
                assert stroke.score is not None
                moment = Moment(page, k, hand, stroke.score, next_s, rng, way)
                made, kind = _slip_or_ornament(stroke, moment, character)
                strokes += made
                if kind == KIND_OF["left_out"]:
                    left_out.append(stroke.score)
    return strokes, left_out


def _strike_chord(
    page: Page, k: int, hand: int, at_s: float, times: Times,
    character: Character, rng: np.random.Generator,
) -> Iterator[Stroke]:  # fmt: skip
    """What one hand strikes at one onset, every note right."""
    notes = page.arrangement.notes
    chord = [i for i in page.onsets.notes[k] if (notes[i].hand == "right") == bool(hand)]
    if not chord:
        return
    finger_s = float(rng.normal(0.0, 1.0)) * character.finger_sd_ms / 1000
    at_s += finger_s - hand * character.lead_ms / 1000
    shifts = _spread(page, chord, character, rng)
    top = max(notes[i].pitch for i in chord)
    for i, shift in zip(chord, shifts, strict=True):
        velocity = character.level + hand * character.right_over
        velocity += character.top_over * (hand == 1 and notes[i].pitch == top and len(chord) > 1)
        velocity += float(rng.normal(0.0, 1.0)) * character.level_sd
        onset_s = at_s + shift
        release_s = _release(page, i, onset_s, times, character)
        yield Stroke(onset_s, release_s, notes[i].pitch, velocity, "right", i)


def _spread(
    page: Page, chord: list[int], character: Character, rng: np.random.Generator
) -> list[float]:
    """Seconds by which each note of a chord is off the chord's own moment."""
    notes = page.arrangement.notes
    graces = [i for i in chord if notes[i].grace == "before"]
    after = [i for i in chord if notes[i].grace == "after"]
    full = sorted((i for i in chord if not notes[i].grace), key=lambda i: notes[i].pitch)
    shifts: dict[int, float] = {i: (k - len(graces)) * GRACE_S for k, i in enumerate(graces)}
    main_s = max((float(page.arrangement.table["duration_s"][i]) for i in full), default=0.0)
    shifts |= {i: main_s + (k - len(after)) * GRACE_S for k, i in enumerate(after)}
    for rank, i in enumerate(full):
        if notes[i].arpeggiated:
            shifts[i] = rank * character.roll_ms / 1000
        elif len(full) > 1:
            systematic = (0.5 - rank / (len(full) - 1)) * character.split_ms
            shifts[i] = (systematic + float(rng.normal(0.0, 1.0)) * character.spread_sd_ms) / 1000
        else:
            shifts[i] = 0.0
    return [shifts[i] for i in chord]


def _release(page: Page, i: int, onset_s: float, times: Times, character: Character) -> float:
    note = page.arrangement.notes[i]
    if note.grace:
        return onset_s + GRACE_S
    length_s = times(float(note.onset_q + note.duration_q)) - times(float(note.onset_q))
    return onset_s + length_s * character.articulation + character.overlap_ms / 1000


def _slip_or_ornament(
    stroke: Stroke, moment: Moment, character: Character
) -> tuple[list[Stroke], str]:
    made, kind = slip(stroke, moment, character.slips)
    note = moment.page.arrangement.notes[moment.score]
    if kind or not (note.ornament and character.ornaments):
        return made, kind
    fifths = moment.page.arrangement.fifths
    return realise(stroke, note, fifths, character.trill_per_s), ""


def _pedal_stretch(
    page: Page, stretch: Stretch, character: Character, rng: np.random.Generator,
    strokes: list[Stroke], halts_s: float,
) -> list[tuple[float, int]]:  # fmt: skip
    times = Times(page.arrangement, page.onsets, stretch)
    style = character.pedalling.style
    holds = find_holds(page.arrangement, style, times.from_q, times.to_q)
    last_s = max((s.release_s for s in strokes), default=float(stretch.time_s[-1]))
    return move_pedal(holds, times, character.pedalling, min(last_s + FOOT_AFTER_S, halts_s), rng)


def _write_out(
    strokes: list[Stroke], moves: list[tuple[float, int]], missing: list[int]
) -> Performance:
    """Strokes and pedal moves as events in order, note-offs before note-ons at one moment."""
    strokes, lost = settle_keys(strokes)
    missing = missing + [s.score for s in lost if s.what != "extra" and s.score is not None]
    raw: list[tuple[float, int, int, bytes]] = []
    for stroke in strokes:
        velocity = int(np.clip(round(stroke.velocity), 1, 127))
        raw.append((stroke.onset_s, 2, stroke.pitch, bytes([0x90, stroke.pitch, velocity])))
        raw.append((stroke.release_s, 0, stroke.pitch, bytes([0x80, stroke.pitch, 64])))
    raw += [(at_s, 1, k, bytes([0xB0, DAMPER, v])) for k, (at_s, v) in enumerate(moves)]
    events = tuple(KeyEvent(at_s, 0.0, data) for at_s, _, _, data in sorted(raw))
    return Performance(events, tuple(map(_tell, range(len(strokes)), strokes)), tuple(missing))


def _tell(played: int, stroke: Stroke) -> Truth:
    truth = Truth(played, stroke.what, kind=stroke.kind)
    if stroke.what == "right":
        return replace(truth, score=stroke.score)
    if stroke.what == "ornament":
        return replace(truth, ornament_of=stroke.score)
    return replace(truth, stands_for=stroke.score)
