"""Questions to the take store about sections over time, summed up by the database itself."""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any

from engine.arrangement import Hands
from engine.findings import Estimate, no_estimate
from engine.measure.quantiles import t_quantile
from engine.standing import Retention
from practice.store.section_store import KeptSection
from practice.store.store import Store

#: Evenness depends on the tempo: passes within this share of the usual one are compared.
LIKE_TEMPO = 0.1
#: The usual tempo is the median of so many last passes.
USUAL_OF = 20
#: Places are told of so many oldest and newest passes.
PLACES_OF = 20
#: Curves show at most so many days.
DAYS_SHOWN = 370
#: Kinds of slip are told of so many last months.
MONTHS_TOLD = 24


@dataclass(frozen=True, slots=True)
class Day:
    """One section, one hand, one day.

    Attributes:
        passes: of the whole section. good: of these. parts: passes of a part of it.
        right_share: share of all notes right. seconds: spent, parts included.
        tempo_share: fastest good pass, None where there was none.
        timing_ms: mean over the passes on the instrument played last, so that all days are one
            series. evenness_ms: the same for passes at like tempo and with one fingering.
        instrument: number of the one played on, 0 for none known, -1 for several.
    """

    key: str
    hands: Hands
    day: str
    passes: int
    good: int
    parts: int
    right_share: float
    seconds: float
    tempo_share: float | None
    timing_ms: Estimate
    evenness_ms: Estimate
    instrument: int = 0


def usual_tempo(recent: Sequence[KeptSection]) -> float | None:
    """Median share of the marked tempo of the last passes."""
    shares = sorted(r.tempo_share for r in recent[-USUAL_OF:] if r.tempo_share)
    return shares[len(shares) // 2] if shares else None


def read_days(
    store: Store, key: str, hands: Hands, tempo: float | None, limit: int = DAYS_SHOWN,
    fingering: str | None = None,
) -> list[Day]:  # fmt: skip
    """The last days on which a section was played by a hand, oldest first.

    Args:
        tempo: share of the marked tempo near which evenness is compared, to within a band of 5 %.
        fingering: of the figure, None for the one played last.
    """
    played_on = read_instrument(store, key, hands)
    rows = store.query(
        """SELECT day, sum(passes), sum(good), sum(parts),
            1.0 * sum(notes_right) / max(sum(notes), 1), sum(seconds), max(tempo_share),
            sum(iif(instrument = :played_on, timing_n, 0)),
            total(iif(instrument = :played_on, timing_sum, 0)),
            total(iif(instrument = :played_on, timing_squares, 0)),
            min(instrument), max(instrument)
            FROM section_days WHERE key = :key AND hands = :hands
            GROUP BY day ORDER BY day DESC LIMIT :most""",
        {"key": key, "hands": hands, "most": limit, "played_on": played_on},
    )
    told = read_fingering(store, key, hands) if fingering is None else fingering
    even = _even_days(store, (key, hands, told, played_on, *_bands(tempo), limit))
    return [_day(key, hands, row, even.get(row[0], (0, 0.0, 0.0))) for row in reversed(rows)]


def _even_days(store: Store, asked: tuple[Any, ...]) -> dict[str, tuple[int, float, float]]:
    """Count, sum and sum of squares of the evenness, by day."""
    rows = store.query(
        """SELECT day, sum(n), total(sum), total(squares) FROM even_days
            WHERE key = ? AND hands = ? AND fingering = ? AND instrument = ?
            AND band BETWEEN ? AND ? GROUP BY day ORDER BY day DESC LIMIT ?""",
        asked,
    )
    return {day: (n, total, squares) for day, n, total, squares in rows}


def read_fingering(store: Store, key: str, hands: Hands) -> str:
    """What the figure of a section was last fingered by, "" where none is told."""
    rows = store.query(
        """SELECT fingering FROM section_passes INDEXED BY sections_by_day
            WHERE key = :key AND hands = :hands
            AND day = (SELECT max(day) FROM even_days WHERE key = :key AND hands = :hands)
            AND evenness_ms IS NOT NULL ORDER BY started_us DESC, take DESC, pass DESC LIMIT 1""",
        {"key": key, "hands": hands},
    )
    return str(rows[0][0]) if rows else ""


@dataclass(frozen=True, slots=True)
class Fingered:
    """Passes whose evenness is of one fingering ("" none told), and the local dates of the ends."""

    fingering: str
    passes: int
    first: str
    last: str


def read_fingerings(store: Store, key: str, hands: Hands) -> list[Fingered]:
    """Every fingering that the figure of a section was played with, the latest first."""
    rows = store.query(
        """SELECT fingering, sum(n), min(day), max(day) AS last FROM even_days
            WHERE key = ? AND hands = ? GROUP BY fingering ORDER BY last DESC, fingering""",
        (key, hands),
    )
    return [Fingered(*row) for row in rows]


def _bands(tempo: float | None) -> tuple[int, int]:
    """First and last band of like tempo; none where there is no tempo."""
    low, high = (round(20 * (tempo or -1) * (1 + off)) for off in (-LIKE_TEMPO, LIKE_TEMPO))
    return low, high


def read_instrument(store: Store, key: str, hands: Hands) -> int:
    """Number of the instrument on which a section was played last, 0 for none known."""
    rows = store.query(
        """SELECT coalesce(t.instrument, 0) FROM section_passes s JOIN takes t ON t.id = s.take
            WHERE s.key = ? AND s.hands = ? ORDER BY s.started_us DESC LIMIT 1""",
        (key, hands),
    )
    return int(rows[0][0]) if rows else 0


@dataclass(frozen=True, slots=True)
class Sums:
    """All days of one section and hand: days, whole passes, good ones, seconds."""

    days: int = 0
    passes: int = 0
    good: int = 0
    seconds: float = 0.0


def read_sums(store: Store, key: str, hands: Hands) -> Sums:
    """Everything ever played of one section and hand."""
    ((days, passes, good, seconds),) = store.query(
        """SELECT count(DISTINCT day), coalesce(sum(passes), 0), coalesce(sum(good), 0),
            total(seconds) FROM section_days WHERE key = ? AND hands = ?""",
        (key, hands),
    )
    return Sums(days, passes, good, seconds)


def _day(key: str, hands: Hands, row: Sequence[Any], even: tuple[int, float, float]) -> Day:
    day, passes, good, parts, right, seconds, tempo, n, total, squares, one, other = row
    return Day(
        key, hands, day, passes, good, parts, right, seconds, tempo,
        mean_from(n, total, squares, "ms"), mean_from(*even, "ms"),
        one if one == other else -1,
    )  # fmt: skip


@cache
def _t_quantile(df: int) -> float:
    return t_quantile(0.975, df)


def mean_from(count: int, total: float, squares: float, unit: str) -> Estimate:
    """Mean and its 95 % interval by Student's t, from count, sum and sum of squares.

    With one value there is a mean and no interval. What is measured is never below 0, nor is low.
    """
    if count < 1:
        return no_estimate("no pass tells it", unit)
    mean = total / count
    if count < 2:
        return Estimate(mean, None, None, 1, unit)
    variance = max(squares - count * mean * mean, 0.0) / (count - 1)
    half = _t_quantile(count - 1) * math.sqrt(variance / count)
    return Estimate(mean, max(mean - half, 0.0), mean + half, count, unit)


def read_retention(
    store: Store, key: str, hands: Hands, limit: int = DAYS_SHOWN
) -> list[Retention]:
    """Each of the last days' cold pass against the day before on which it was played whole."""
    rows = store.query(
        """SELECT day, max(last_us), last_share,
            (SELECT max(best_share) FROM section_days b
             WHERE b.key = a.key AND b.hands = a.hands AND b.day = a.day)
            FROM section_days a WHERE key = ? AND hands = ? AND passes > 0
            GROUP BY day ORDER BY day DESC LIMIT ?""",
        (key, hands, limit),
    )
    cold = dict(
        store.query(
            """SELECT day, 1.0 * notes_right / max(notes, 1) FROM section_passes
                WHERE key = ? AND hands = ? AND cold ORDER BY day DESC LIMIT ?""",
            (key, hands, limit),
        )
    )
    out = []
    for (before, _, last, best), (day, *_rest) in itertools.pairwise(reversed(rows)):
        if day in cold:
            out.append(Retention(day, before, _nights(before, day), cold[day], last, best))
    return out


def _nights(before: str, day: str) -> int:
    return (date.fromisoformat(day) - date.fromisoformat(before)).days


def read_kinds(store: Store, keys: Sequence[str], by: int = 7) -> list[tuple[str, str, int]]:
    """(month or day, kind of slip, count) over these sections, the last `MONTHS_TOLD`.

    Args:
        by: characters of the ISO date to sum over: 7 for months, 10 for days.
    """
    marks = ", ".join("?" * len(keys))
    rows = store.query(
        f"""SELECT substr(day, 1, {int(by)}) AS at, kind, sum(count) FROM slip_days
            WHERE key IN ({marks}) AND day >= date(
                (SELECT max(day) FROM slip_days WHERE key IN ({marks})), '-{MONTHS_TOLD} months')
            GROUP BY at, kind ORDER BY at, kind""",
        (*keys, *keys),
    )
    return [(when, kind, count) for when, kind, count in rows]


#: Passes with places that may be compared: see `_like`.
_LIKE = """key = :key AND s.hands = :hands AND places != '' AND fingering = :fingering
    AND coalesce(t.instrument, 0) = :played_on
    AND round(20 * s.tempo_share) BETWEEN :slowest AND :fastest"""


def _like(
    key: str, hands: Hands, played_on: int, fingering: str, tempo: float | None
) -> dict[str, Any]:
    slowest, fastest = _bands(tempo)
    return {
        "key": key, "hands": hands, "played_on": played_on, "fingering": fingering,
        "slowest": slowest, "fastest": fastest,
    }  # fmt: skip


def read_places(
    store: Store, key: str, hands: Hands, tempo: float | None
) -> tuple[list[list[float]], list[list[float]]]:
    """Deviation of each place in ms, one row a pass: the oldest passes and the newest.

    All on the instrument and with the fingering played last and at like tempo; at most `PLACES_OF`
    on each side, and none on both.

    Args:
        tempo: share of the marked tempo near which they are compared.
    """
    played_on, fingering = read_instrument(store, key, hands), read_fingering(store, key, hands)
    ((half,),) = store.query(
        """SELECT total(n) / 2 FROM even_days WHERE key = ? AND hands = ? AND instrument = ?
            AND fingering = ? AND band BETWEEN ? AND ?""",
        (key, hands, played_on, fingering, *_bands(tempo)),
    )
    like = _like(key, hands, played_on, fingering, tempo)
    sides = []
    for order in ("ASC", "DESC"):
        rows = store.query(
            f"""SELECT places FROM section_passes s JOIN takes t ON t.id = s.take
                WHERE {_LIKE} ORDER BY s.started_us {order} LIMIT :most""",
            like | {"most": min(PLACES_OF, int(half))},
        )
        told = [json.loads(text) for (text,) in rows]
        sides.append([row for row in told if None not in row and len(row) == len(told[0])])
    return sides[0], sides[1]


@dataclass(frozen=True, slots=True)
class MonthOfPlaces:
    """Mean deviation of each place in ms over some passes of a month."""

    month: str
    passes: int
    means_ms: tuple[float, ...]


def read_place_months(
    store: Store, key: str, hands: Hands, tempo: float | None, months: Sequence[str]
) -> list[MonthOfPlaces]:
    """The places month by month, from at most `PLACES_OF` passes of each, at like tempo.

    Args:
        tempo: as for `read_places`; all on the instrument and with the fingering played last.
        months: "2026-03", in order.
    """
    played_on, fingering = read_instrument(store, key, hands), read_fingering(store, key, hands)
    like = _like(key, hands, played_on, fingering, tempo)
    out = []
    for month in months:
        rows = store.query(
            f"""SELECT places FROM section_passes s JOIN takes t ON t.id = s.take
                WHERE {_LIKE} AND day BETWEEN :month || '-01' AND :month || '-31' LIMIT :most""",
            like | {"month": month, "most": PLACES_OF},
        )
        told = [json.loads(text) for (text,) in rows]
        told = [row for row in told if None not in row and len(row) == len(told[0])]
        if told:
            means = tuple(sum(column) / len(told) for column in zip(*told, strict=True))
            out.append(MonthOfPlaces(month, len(told), means))
    return out


@dataclass(frozen=True, slots=True)
class Totals:
    """All passes of an arrangement: on how many days, how many, how many good, first and last."""

    days: int = 0
    passes: int = 0
    good: int = 0
    first: str = ""
    last: str = ""


def read_totals(store: Store, title: str) -> Totals:
    """Over all versions of an arrangement (those of the same title); demo takes left out."""
    ((days, passes, good, first, last),) = store.query(
        """SELECT count(DISTINCT day), count(*), total(good), coalesce(min(day), ''),
            coalesce(max(day), '') FROM passes
            WHERE arrangement IN (SELECT id FROM arrangements WHERE title = ?)
            AND take NOT IN (SELECT id FROM takes WHERE source = 'demo')""",
        (title,),
    )
    return Totals(days, passes, int(good), first, last)
