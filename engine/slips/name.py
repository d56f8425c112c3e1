"""From findings to slips: every finding that is not right gets its kind and its sentence."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from engine.arrangement import Arrangement
from engine.findings import Finding, Slip
from engine.form.function import function_words, harmony_at
from engine.form.naming import name_in_context
from engine.performance import PlayedNote
from engine.slips import kinds
from engine.slips.kinds import PRIORS
from engine.slips.neighbours import tell_anticipation, tell_late_change, tell_twin
from engine.slips.pairing import pair_findings
from engine.slips.scene import Scene, Stage
from engine.slips.tellers import (
    ANY_KEY,
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
#: An explanation must be at least so likely among all of them; else it is unclear. So a key
#: that is beside the right one and in the next stroke too is called neither.
ENOUGH = 0.62
#: Functions that go without saying.
PLAIN_FUNCTIONS = ("root", "fifth", "minor third", "major third")


def name_slips(
    arrangement: Arrangement, notes: Sequence[PlayedNote], findings: Sequence[Finding]
) -> tuple[Slip, ...]:
    """Name everything that was wrong, extra or missing, in order of playing, left out last.

    Args:
        arrangement: with its form found. notes: `notes[i].index == i`. findings: about them.
    """
    stage = Stage(arrangement, notes, pair_findings(arrangement, notes, findings))
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
    telling, share = _choose(scene, WRONG)
    return _slip(scene, telling, finding.certainty * share)


def _name_extra(stage: Stage, finding: Finding) -> Slip:
    played = stage.notes[finding.played or 0]
    scene = Scene(stage, played, None, stage.place_q(played.onset_s))
    telling, share = _choose(scene, EXTRA)
    return _slip(scene, telling, finding.certainty * share)


def _name_missing(stage: Stage, finding: Finding) -> Slip:
    assert finding.score is not None
    note = stage.arrangement.notes[finding.score]
    scene = Scene(stage, None, finding.score, note.onset_q)
    telling = Telling(kinds.LEFT_OUT, 1.0, "no key was struck for it", "left out")
    return _slip(scene, telling, finding.certainty)


def _choose(scene: Scene, tellers: Sequence[Teller]) -> tuple[Telling, float]:
    """The likeliest explanation and how likely it is; unclear where none is likely enough."""
    told = [t for teller in tellers if (t := teller(scene)) is not None]
    unknown = Telling(kinds.UNCLEAR, ANY_KEY, "it fits none of the kinds", "it is not clear why")
    worth = [(PRIORS[t.kind] * t.likelihood, t) for t in [*told, unknown]]
    total = sum(w for w, _ in worth)
    worth.sort(key=lambda pair: -pair[0])
    share, best = worth[0][0] / total, worth[0][1]
    if best.kind == kinds.UNCLEAR or share >= ENOUGH:
        return best, share
    other = worth[1][1]
    both = f"{best.kind} ({best.evidence}) or {other.kind} ({other.evidence})"
    words = f"{best.kind} or {other.kind}, it cannot be told which"
    return Telling(kinds.UNCLEAR, ANY_KEY, both, words), share


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
        certainty=round(min(1.0, certainty), 3),
    )


def _sentence(scene: Scene, expected: str, heard: str, telling: Telling) -> str:
    where = place_words(scene.arrangement, scene.onset_q)
    if scene.played is None:
        return f"{where}: {plain(expected)} left out{_function(scene)}"
    if not expected:
        return f"{where}: {plain(heard)} too many: {telling.words}"
    if plain(heard) == plain(expected):
        far = "" if telling.kind == kinds.OCTAVE else "in another octave: "
        return f"{where}: {plain(expected)} {far}{telling.words}{_function(scene)}"
    words = f"{plain(heard)} for {plain(expected)}: {telling.words}"
    return f"{where}: {words}{_function(scene)}"


def _function(scene: Scene) -> str:
    """What a line note is to its harmony, where that is worth saying: " (the flat fifth)"."""
    form = scene.arrangement.form
    if scene.score is None or scene.score not in set(form.line) | {j for _, j in form.doublings}:
        return ""
    k = harmony_at(form.harmonies, scene.onset_q)
    words = (
        function_words(scene.arrangement.notes[scene.score], form.harmonies[k]) if k >= 0 else ""
    )
    return f" (the {words})" if words and words not in PLAIN_FUNCTIONS else ""


def place_words(arrangement: Arrangement, onset_q: Fraction | float) -> str:
    """Bar and beat as printed: "bar 12, beat 3"; halves and other parts as a decimal.

    What rounding brings to the barline is the next bar's first moment: no bar of four beats has a
    fifth.
    """
    bar = arrangement.bar_at(onset_q)
    exact = (float(onset_q) - float(bar.onset_q - bar.lead_q)) * bar.beat_unit / 4 + 1
    beat = round(exact, 2)
    following = arrangement.bars[bar.index + 1 : bar.index + 2]
    if following and beat >= bar.beat_at(following[0].onset_q):
        bar = following[0]
        beat = round(float(bar.beat_at(bar.onset_q)), 2)
    again = f" (time {bar.time})" if bar.time > 1 else ""
    return f"bar {bar.number or '0'}{again}, beat {beat:g}"
