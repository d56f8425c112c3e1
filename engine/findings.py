"""What is said of notes: findings, passes, slips, estimates. The words between rooms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from engine.arrangement import Hands

What = Literal["right", "wrong", "extra", "missing", "ornament", "unclear"]


@dataclass(frozen=True, slots=True)
class Finding:
    """What is said of one note.

    Attributes:
        played: index of the played note, None for "missing".
        score: index of the score note it answers to ("right", "missing"); None otherwise.
        what: right, wrong (another key struck for a written note), extra (answers to nothing),
            missing, ornament (realises a sign or trill beyond its written note), unclear.
        stands_for: the score note a wrong one replaced, or that an ornament note belongs to.
        certainty: 0 to 1.
        final: it will not be revised.
        alternatives: other score notes it may as well have been (identical passages).
    """

    played: int | None
    score: int | None
    what: What
    stands_for: int | None = None
    certainty: float = 1.0
    final: bool = False
    alternatives: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Pass:
    """One playing of a stretch, start to stop.

    Attributes:
        first, last: played-note indices, both included.
        from_q, to_q: score time of its first and last matched onsets.
        hands: which hand(s) were playing.
        tempo_qpm: quarters a minute, from the player's own onsets; nan where it cannot be told.
        reached_end: it came to the end of the span asked for (or of the piece).
    """

    first: int
    last: int
    from_q: float
    to_q: float
    hands: Hands
    tempo_qpm: float
    reached_end: bool = False


@dataclass(frozen=True, slots=True)
class Slip:
    """A wrong, extra or missing note, with its kind.

    Attributes:
        kind: see `engine.slips` for the list; "unclear" rather than a guess.
        played: index of the played note, or None (left out).
        score: index of the score note it stood for, or None (added).
        expected, heard: names as the page would spell them ("Bbb4"), "" where none.
        words: one sentence a teacher might say.
        evidence: what told the kind.
        certainty: 0 to 1.
    """

    kind: str
    played: int | None
    score: int | None
    expected: str
    heard: str
    words: str
    evidence: str = ""
    certainty: float = 1.0


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its 95 % interval, or the reason why there is none.

    `value`, `low`, `high` are None together, and then `reason` says why. `unit` as in names:
    ms, share, percent, velocity, db.
    """

    value: float | None
    low: float | None = None
    high: float | None = None
    n: int = 0
    unit: str = ""
    reason: str = ""


def no_estimate(reason: str, unit: str = "", n: int = 0) -> Estimate:
    """The honest absence of a number."""
    return Estimate(None, None, None, n, unit, reason)
