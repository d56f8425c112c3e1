"""Where the player stands: what makes a pass good, and which stage a section has reached.

All the numbers are in `Definitions`, which can be set. They are working definitions of ours, not
taken from a study: practice research supports the *share* of correct passes and next-day retention
(Duke, Simmons and Cash 2009; Simmons 2012), but no number of passes in a row.
"""

from __future__ import annotations

import itertools
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from engine.arrangement import Hands

Stage = Literal["unplayed", "reading", "steady", "up to tempo", "secure"]
STAGES: tuple[Stage, ...] = ("unplayed", "reading", "steady", "up to tempo", "secure")


@dataclass(frozen=True, slots=True)
class Definitions:
    """The numbers behind the words. Shares are of 1.

    Attributes:
        stop_s, stop_beats: no key for the longer of the two is a stop.
        right_share: a good pass has at least this share of its notes right, counted as
            right / (right + wrong + missing + extra).
        strict_beat_share, strict_ms: in strict pulse the median absolute deviation is at most the
            larger of the two.
        halt_beats: in free pulse no hesitation is longer.
        band_mads, band_passes, band_tempo: evenness is inside the player's own band when it is at
            most the median plus so many scaled median absolute deviations of their last so many
            passes at a tempo within this share; with fewer than `band_least` nothing is said.
        recent, recent_good: steady takes so many good passes of the last so many.
        steady_tempo, full_tempo: at this share of the marked tempo or more.
        secure_days: good and up to tempo when cold on so many days, the latest cold day among
            them, out of the last `secure_days + 1` cold days.
    """

    stop_s: float = 2.0
    stop_beats: float = 3.0
    right_share: float = 0.97
    strict_beat_share: float = 0.05
    strict_ms: float = 25.0
    halt_beats: float = 1.0
    band_mads: float = 3.0
    band_passes: int = 30
    band_least: int = 8
    band_tempo: float = 0.1
    recent: int = 3
    recent_good: int = 2
    steady_tempo: float = 0.5
    full_tempo: float = 0.95
    secure_days: int = 2


DEFINITIONS = Definitions()


@dataclass(frozen=True, slots=True)
class PassFacts:
    """What a pass (or a pass's part in one section) came to.

    Attributes:
        completed: it was played through without a stop.
        right, wrong, extra, missing: notes.
        pulse: strict or free. beat_ms: length of a beat as played (0 where unknown).
        deviation_ms: median absolute deviation, None where there is none.
        halt_beats: longest hesitation, None where it cannot be told.
        evenness_ms: spread of the figure, None where there is no figure.
        usual_ms: upper edge of the player's own band (see `usual_evenness_ms`).
    """

    completed: bool
    right: int
    wrong: int = 0
    extra: int = 0
    missing: int = 0
    pulse: Literal["strict", "free"] = "free"
    beat_ms: float = 0.0
    deviation_ms: float | None = None
    halt_beats: float | None = None
    evenness_ms: float | None = None
    usual_ms: float | None = None

    @property
    def right_share(self) -> float:
        """Share of its notes that were right; 0 where there are none."""
        told = self.right + self.wrong + self.extra + self.missing
        return self.right / told if told else 0.0


def good_pass(facts: PassFacts, definitions: Definitions = DEFINITIONS) -> tuple[bool, str]:
    """Whether a pass was good, and one line on what it lacked ("" where it was good)."""
    for lacks in (_lacks_notes, _lacks_end, _lacks_time, _lacks_flow, _lacks_evenness):
        why_not = lacks(facts, definitions)
        if why_not:
            return False, why_not
    return True, ""


def _lacks_end(facts: PassFacts, definitions: Definitions) -> str:
    return "" if facts.completed else "stopped before the end"


def _lacks_notes(facts: PassFacts, definitions: Definitions) -> str:
    told = facts.right + facts.wrong + facts.extra + facts.missing
    if not told:
        return "nothing was played"
    if not facts.completed or facts.right_share >= definitions.right_share:
        return ""
    off = told - facts.right
    return f"{off} of {told} notes off ({facts.right_share:.1%} right)"


def _lacks_time(facts: PassFacts, definitions: Definitions) -> str:
    if facts.pulse != "strict" or facts.deviation_ms is None:
        return ""
    allowed_ms = max(definitions.strict_beat_share * facts.beat_ms, definitions.strict_ms)
    if facts.deviation_ms <= allowed_ms:
        return ""
    return f"off the click by {facts.deviation_ms:.0f} ms, {allowed_ms:.0f} allowed"


def _lacks_flow(facts: PassFacts, definitions: Definitions) -> str:
    if facts.pulse != "free" or facts.halt_beats is None:
        return ""
    if facts.halt_beats <= definitions.halt_beats:
        return ""
    return f"a hesitation of {facts.halt_beats:.1f} beats"


def _lacks_evenness(facts: PassFacts, definitions: Definitions) -> str:
    if facts.evenness_ms is None or facts.usual_ms is None or facts.evenness_ms <= facts.usual_ms:
        return ""
    return f"figure uneven by {facts.evenness_ms:.0f} ms, usually under {facts.usual_ms:.0f}"


def usual_evenness_ms(
    history: Sequence[tuple[float, float]],
    tempo_share: float,
    definitions: Definitions = DEFINITIONS,
) -> float | None:
    """Upper edge of the player's own band of evenness at a tempo.

    Args:
        history: (share of the marked tempo, evenness in ms) of earlier passes, oldest first.
        tempo_share: of the pass to be judged.
    """
    like = [ms for share, ms in history if abs(share / tempo_share - 1) <= definitions.band_tempo]
    like = like[-definitions.band_passes :]
    if len(like) < definitions.band_least:
        return None
    middle = statistics.median(like)
    spread = 1.4826 * statistics.median(abs(ms - middle) for ms in like)
    return middle + definitions.band_mads * spread


@dataclass(frozen=True, slots=True)
class SectionPass:
    """One pass's part in one section and hand, in order of playing.

    Attributes:
        section: index into the form's sections. hands: as played.
        day: local date (ISO) where it was played.
        asked: the span asked for holds the whole section; otherwise it is only work on a part,
            which keeps later passes of the day from being cold and is not judged.
        good, why_not: by `good_pass`, for the part in this section.
        tempo_share: of the marked tempo, None where it cannot be told.
        right_share: share of notes right. notes: how many were to be played.
    """

    section: int
    hands: Hands
    day: str
    asked: bool
    good: bool
    why_not: str
    tempo_share: float | None
    right_share: float
    notes: int = 0
    evenness_ms: float | None = None
    cold: bool = False

    def good_at(self, share: float) -> bool:
        """Good, at this share of the marked tempo or more."""
        return self.good and self.tempo_share is not None and self.tempo_share >= share - 5e-4


@dataclass(frozen=True, slots=True)
class Standing:
    """A section's stage for a hand, with its reason and what it rests on."""

    section: int
    hands: Hands
    stage: Stage
    reason: str
    last_cold: str
    passes: int
    good: int


def mark_cold(passes: Iterable[SectionPass]) -> list[SectionPass]:
    """The passes with `cold` set on the first of each section and day, whatever the hand."""
    seen: set[tuple[int, str]] = set()
    out = []
    for one in passes:
        place = (one.section, one.day)
        out.append(replace(one, cold=one.asked and place not in seen))
        seen.add(place)
    return out


def stages(
    sections: int, passes: Sequence[SectionPass], definitions: Definitions = DEFINITIONS
) -> list[Standing]:
    """The standing of every section for left, right and both, in that order.

    Args:
        sections: how many there are.
        passes: in order of playing, with `cold` set (see `mark_cold`).
    """
    by_place: dict[tuple[int, str], list[SectionPass]] = {}
    for one in passes:
        by_place.setdefault((one.section, one.hands), []).append(one)
    every: tuple[Hands, ...] = ("left", "right", "both")
    return [
        find_standing(section, hands, by_place.get((section, hands), []), definitions)
        for section in range(sections)
        for hands in every
    ]


def find_standing(
    section: int,
    hands: Hands,
    passes: Sequence[SectionPass],
    definitions: Definitions = DEFINITIONS,
) -> Standing:
    """The standing of one section and hand from its own passes, in order of playing."""
    judged = [one for one in passes if one.asked]
    cold = [one for one in judged if one.cold]
    stage, reason = _find_stage(passes, judged, cold, definitions)
    last_cold = cold[-1].day if cold else ""
    good = sum(one.good for one in judged)
    return Standing(section, hands, stage, reason, last_cold, len(judged), good)


def _find_stage(
    passes: Sequence[SectionPass],
    judged: Sequence[SectionPass],
    cold: Sequence[SectionPass],
    definitions: Definitions,
) -> tuple[Stage, str]:
    if not passes:
        return "unplayed", "not played yet"
    if not judged:
        return "reading", "only parts of it played so far"
    secure = _find_secure_days(cold, definitions)
    if len(secure) >= definitions.secure_days:
        return "secure", f"good, up to tempo and cold on {_list_days(secure)}"
    recent = judged[-definitions.recent :]
    shares: tuple[tuple[Stage, float], ...] = (
        ("up to tempo", definitions.full_tempo),
        ("steady", definitions.steady_tempo),
    )
    for stage, share in shares:
        good = sum(one.good_at(share) for one in recent)
        if good >= definitions.recent_good:
            return (
                stage,
                f"{good} of the last {len(recent)} passes good at {share:.0%} of the tempo or more",
            )
    return "reading", _say_reading(recent, definitions)


def _find_secure_days(cold: Sequence[SectionPass], definitions: Definitions) -> list[str]:
    """Days on which it was good and up to tempo when cold; none unless the latest was."""
    latest = cold[-(definitions.secure_days + 1) :]
    if not latest or not latest[-1].good_at(definitions.full_tempo):
        return []
    return [one.day for one in latest if one.good_at(definitions.full_tempo)]


def _list_days(days: Sequence[str]) -> str:
    return " and ".join(days[-2:])


def _say_reading(recent: Sequence[SectionPass], definitions: Definitions) -> str:
    good = sum(one.good for one in recent)
    if good >= definitions.recent_good:
        return f"good, but under {definitions.steady_tempo:.0%} of the marked tempo"
    lacks = next((one.why_not for one in reversed(recent) if one.why_not), "")
    said = f"{good} of the last {len(recent)} passes good, {definitions.recent_good} needed"
    return f"{said}; last lack: {lacks}" if lacks else said


@dataclass(frozen=True, slots=True)
class Retention:
    """What a section kept from one day to a later one, as shares of right notes.

    Attributes:
        day, before: the days. nights: between them.
        cold: the first pass of the day. last, best: of the day before.
    """

    day: str
    before: str
    nights: int
    cold: float
    last: float
    best: float

    @property
    def index(self) -> float | None:
        """Cold today over the best of the last time."""
        return self.cold / self.best if self.best else None


def find_retention(passes: Sequence[SectionPass]) -> list[Retention]:
    """Each day's cold pass of one section and hand against the day before it was played.

    Args:
        passes: of one section and hand, in order of playing, with `cold` set.
    """
    days: dict[str, list[SectionPass]] = {}
    for one in passes:
        if one.asked:
            days.setdefault(one.day, []).append(one)
    out = []
    ordered = sorted(days)
    for before, day in itertools.pairwise(ordered):
        first = days[day][0]
        if not first.cold:
            continue
        shares = [one.right_share for one in days[before]]
        nights = (date.fromisoformat(day) - date.fromisoformat(before)).days
        out.append(Retention(day, before, nights, first.right_share, shares[-1], max(shares)))
    return out
