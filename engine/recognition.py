"""Whether what was played is this page at all: where that is in doubt, nothing is scored.

Notes at random, another piece or another key agree with a page here and there. A pass counts only
where its agreement is surely more than that, and a take only where no other key explains it better.
The bounds were set on simulated and recorded playing, right and wrong pages, and all transpositions
within an octave; short takes in a chromatic texture are the hardest.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement, Hands, Span, notes_in, whole_span
from engine.findings import Finding, Pass
from engine.follow import align, find_passes
from engine.performance import PlayedNote

#: The right share of a pass's notes must surely (95 %) be above this.
SURE_SHARE = 0.4
#: So much of what is written on its way must have been struck.
STRUCK_SHARE = 1 / 3
#: Where so much of a take is told right, its passes are not doubted.
ENOUGH = 0.9
#: Where less is, it is mostly something else: a pass must then stand for itself ...
MOSTLY_ELSE = 1 / 3
#: ... by a right share that is surely above this.
ALONE_SHARE = 0.75
#: Another key must explain so much more of the take.
BETTER_BY = 0.1
#: Keys tried, of those within an octave; notes of the take that they are tried on.
KEYS_TRIED, NOTES_TRIED = 8, 200
_Z = 1.96


def recognised(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    findings: Sequence[Finding],
    span: Span | None = None,
    hands: Hands | None = None,
) -> list[Pass]:
    """The passes of a take that are this page; none where it is another piece or key.

    Args:
        arrangement: the score.
        notes: the take, numbered from 0 in order.
        findings: of all its notes. span, hands: as they were looked for.
    """
    shares = {
        one: share
        for one in find_passes(arrangement, notes, findings)
        if (share := sure_share(arrangement, findings, one)) > SURE_SHARE
    }
    told = _right_in(findings, list(shares)) / max(len(notes), 1)
    if told >= ENOUGH or not shares:
        return list(shares)
    if told < MOSTLY_ELSE:
        shares = {one: share for one, share in shares.items() if share > ALONE_SHARE}
    if shares and _is_in_another_key(arrangement, notes, findings, span, hands):
        return []
    return list(shares)


def sure_share(arrangement: Arrangement, findings: Sequence[Finding], one: Pass) -> float:
    """The lower end of the 95 % interval (Wilson 1927) of a pass's right share among its notes.

    0 where too little of what is written on its way was struck.
    """
    count = Counter(
        f.what for f in findings if f.played is not None and one.first <= f.played <= one.last
    )
    onset_q = arrangement.table["onset_q"]
    missing = sum(
        f.played is None
        and f.score is not None
        and one.from_q <= float(onset_q[f.score]) <= one.to_q
        for f in findings
    )
    written = count["right"] + count["wrong"] + missing
    if count["right"] < STRUCK_SHARE * written:
        return 0.0
    return _wilson_low(count["right"], one.last - one.first + 1 - count["ornament"])


def _wilson_low(hits: int, n: int) -> float:
    if n <= 0:
        return 0.0
    share, z2 = hits / n, _Z * _Z
    half = _Z * math.sqrt(share * (1 - share) / n + z2 / (4 * n * n))
    return max(0.0, (share + z2 / (2 * n) - half) / (1 + z2 / n))


def _right_in(findings: Sequence[Finding], passes: Sequence[Pass]) -> int:
    inside = {i for one in passes for i in range(one.first, one.last + 1)}
    return sum(f.what in ("right", "ornament") and f.played in inside for f in findings)


def _is_in_another_key(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    findings: Sequence[Finding],
    span: Span | None,
    hands: Hands | None,
) -> bool:
    some = notes[:NOTES_TRIED]
    here = sum(
        f.what == "right" and f.played is not None and f.played < len(some) for f in findings
    )
    return any(
        _right_when_moved(arrangement, some, key, span, hands) > here + BETTER_BY * len(some)
        for key in _likely_keys(arrangement, some, span, hands)
    )


def _right_when_moved(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    semitones: int,
    span: Span | None,
    hands: Hands | None,
) -> int:
    moved = [move_pitch(n, semitones) for n in notes]
    return sum(f.what == "right" for f in align(arrangement, moved, span, hands))


def move_pitch(note: PlayedNote, semitones: int) -> PlayedNote:
    """The same note on another key, kept on the keyboard of MIDI."""
    return replace(note, pitch=min(max(note.pitch + semitones, 0), 127))


def _likely_keys(
    arrangement: Arrangement,
    notes: Sequence[PlayedNote],
    span: Span | None,
    hands: Hands | None,
) -> list[int]:
    """Moves in semitones that bring the take's pitches closest to those written."""
    rows = notes_in(arrangement, span or whole_span(arrangement), hands or "both")
    written = np.bincount(arrangement.table["pitch"][rows], minlength=128)[:128].astype(float)
    played = np.bincount([n.pitch for n in notes], minlength=128)[:128].astype(float)
    common = {
        move: float(np.minimum(_share(np.roll(played, move)), _share(written)).sum())
        for move in range(-12, 13)
        if move
    }
    return sorted(common, key=lambda move: (-common[move], abs(move), move))[:KEYS_TRIED]


def _share(counts: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return counts / max(float(counts.sum()), 1.0)
