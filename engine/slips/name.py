"""From findings to slips: every finding that is not right gets its kind and its sentence."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from engine.arrangement import Arrangement
from engine.findings import Finding, Slip
from engine.form.naming import name_in_context
from engine.performance import PlayedNote
from engine.slips import kinds
from engine.slips.neighbours import tell_anticipation, tell_late_change, tell_twin
from engine.slips.scene import Scene, Stage
from engine.slips.tellers import (
    Teller,
    Telling,
    plain,
    tell_accidental,
    tell_added,
    tell_brushed,
    tell_doubled,
    tell_neighbour,
    tell_octave,
    tell_other_hand,
    tell_split,
)

#: Who is asked of a note struck for another, and of a note struck for none.
WRONG: tuple[Teller, ...] = (
    tell_twin, tell_octave, tell_accidental, tell_split, tell_anticipation, tell_late_change,
    tell_neighbour, tell_other_hand,
)  # fmt: skip
EXTRA: tuple[Teller, ...] = (
    tell_doubled, tell_brushed, tell_anticipation, tell_late_change, tell_other_hand, tell_added,
)  # fmt: skip
#: Two explanations nearer than this in strength cannot be told apart.
MARGIN = 0.04


def name_slips(
    arrangement: Arrangement, notes: Sequence[PlayedNote], findings: Sequence[Finding]
) -> tuple[Slip, ...]:
    """Name everything that was wrong, extra or missing, in order of playing, left out last.

    Args:
        arrangement: with its form found. notes: `notes[i].index == i`. findings: about them.
    """
    stage = Stage(arrangement, notes, findings)
    return tuple(_slips(stage))


def _slips(stage: Stage) -> Iterable[Slip]:
    for finding in stage.findings:
        if finding.what == "wrong" and finding.played is not None:
            yield _name_wrong(stage, finding)
        elif finding.what == "extra" and finding.played is not None:
            yield _name_extra(stage, finding)
        elif finding.what == "missing" and finding.score is not None:
            yield _name_missing(stage, finding)


def _name_wrong(stage: Stage, finding: Finding) -> Slip:
    played = stage.notes[finding.played or 0]
    note = None if finding.stands_for is None else stage.arrangement.notes[finding.stands_for]
    at = note.onset_q if note else stage.place_q(played.onset_s)
    scene = Scene(stage, played, finding.stands_for, at)
    return _slip(scene, _choose(scene, WRONG), finding.certainty)


def _name_extra(stage: Stage, finding: Finding) -> Slip:
    played = stage.notes[finding.played or 0]
    scene = Scene(stage, played, None, stage.place_q(played.onset_s))
    return _slip(scene, _choose(scene, EXTRA), finding.certainty)


def _name_missing(stage: Stage, finding: Finding) -> Slip:
    assert finding.score is not None
    note = stage.arrangement.notes[finding.score]
    scene = Scene(stage, None, finding.score, note.onset_q)
    telling = Telling(kinds.LEFT_OUT, 0.95, "no key was struck for it", "left out")
    return _slip(scene, telling, finding.certainty)


def _choose(scene: Scene, tellers: Sequence[Teller]) -> Telling:
    """The strongest explanation; unclear where two of different kinds are as strong."""
    told = [t for teller in tellers if (t := teller(scene)) is not None]
    told.sort(key=lambda t: -t.strength)
    if not told:
        return Telling(kinds.UNCLEAR, 0.3, "it fits none of the kinds", "it is not clear why")
    if len(told) > 1 and told[0].strength - told[1].strength < MARGIN:
        both = f"{told[0].kind} ({told[0].evidence}) or {told[1].kind} ({told[1].evidence})"
        return Telling(kinds.UNCLEAR, 0.4, both, f"{told[0].kind} or {told[1].kind}")
    return told[0]


def _slip(scene: Scene, telling: Telling, certainty: float) -> Slip:
    expected = scene.written.name if scene.written else ""
    heard = telling.heard
    if scene.played and not heard:
        heard = name_in_context(scene.arrangement, scene.played.pitch, scene.onset_q, scene.hand)
    return Slip(
        kind=telling.kind,
        played=scene.played.index if scene.played else None,
        score=scene.score,
        expected=expected,
        heard=heard if scene.played else "",
        words=_sentence(scene, expected, heard, telling),
        evidence=telling.evidence,
        certainty=round(min(1.0, certainty) * telling.strength, 3),
    )


def _sentence(scene: Scene, expected: str, heard: str, telling: Telling) -> str:
    where = place_words(scene.arrangement, scene.onset_q)
    if scene.played is None:
        return f"{where}: {plain(expected)} left out"
    if not expected:
        return f"{where}: {plain(heard)} too many: {telling.words}"
    return f"{where}: {plain(heard)} for {plain(expected)}: {telling.words}"


def place_words(arrangement: Arrangement, onset_q: object) -> str:
    """Bar and beat as printed: "bar 12, beat 3"; halves and other parts as a decimal."""
    at = onset_q if not isinstance(onset_q, float) else float(onset_q)
    bar = arrangement.bar_at(at)  # type: ignore[arg-type]
    beat = float(bar.beat_at(at))  # type: ignore[arg-type]
    again = f" (time {bar.time})" if bar.time > 1 else ""
    return f"bar {bar.number or '0'}{again}, beat {round(beat, 2):g}"
