"""What the plan goes by, gathered from the take store: one row a section and hand."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from engine.arrangement import Arrangement, Hands, Span
from engine.section_review import bar_key, section_key, section_span
from engine.standing import DEFINITIONS, Definitions, Stage
from practice.plan.recall import COLD_PASSES, Recall, find_recall
from practice.progress.progress import HANDS, read_map
from practice.progress.weak_bars import (
    Touched,
    WeakBar,
    is_settled,
    read_touched,
    weak_bars,
    written_bars,
)
from practice.store.history import read_sums
from practice.store.section_store import KeptSection, read_cold, read_recent
from practice.store.store import Store

#: Under this share of notes right twice in a row, it falls apart.
APART_SHARE = 0.8


@dataclass(frozen=True, slots=True)
class HandFacts:
    """One section and hand.

    Attributes:
        section: index in the form. name: for the player. span: its bars. key: what it holds.
        seconds: its length at the marked tempo.
        stage: see `engine.standing`. passes: of it so far.
        tempo_share: of the fastest of its last good passes, or of its last passes if none is good.
        recall: when it is due, None if never played cold. played_today: it is not cold any more.
        wrong_twice: the last two whole passes were both faulty. falls_apart: so faulty that each
            hand alone comes first.
        good_lately: two of its last three whole passes were good.
        kept_cold: its latest cold pass was good at full tempo, None where it was never played cold.
        row_today: good passes at full tempo at the end of today's, in a row.
        begun_today: it was never played before today.
        familiar: every bar of it is in another section that comes before.
    """

    section: int
    name: str
    span: Span
    key: str
    hands: Hands
    seconds: float
    stage: Stage
    passes: int = 0
    tempo_share: float | None = None
    recall: Recall | None = None
    played_today: bool = False
    wrong_twice: bool = False
    falls_apart: bool = False
    good_lately: bool = False
    kept_cold: bool | None = None
    row_today: int = 0
    begun_today: bool = False
    familiar: bool = False


@dataclass(frozen=True, slots=True)
class Parting:
    """Two passages that begin alike: the bars around both partings; `taken`: slips into it."""

    first: Span
    second: Span
    words: str
    sections: tuple[int, int]


@dataclass(frozen=True, slots=True)
class PlanFacts:
    """Everything the plan goes by. `ran_through_today`: the whole form was played today."""

    arrangement: Arrangement
    path: str
    hands: tuple[HandFacts, ...]
    weak: tuple[WeakBar, ...] = ()
    partings: tuple[Parting, ...] = ()
    ran_through_today: bool = False


def gather_facts(
    store: Store,
    arrangement: Arrangement,
    path: str,
    now: datetime,
    definitions: Definitions = DEFINITIONS,
) -> PlanFacts:
    """The facts on a day. Args: path: the score, as the player names it; now: with its offset."""
    cells = {(c.section, c.hands): c for c in read_map(store, arrangement, definitions)}
    rows: list[HandFacts] = []
    seen: set[str] = set()
    bars_seen: set[str] = set()
    for index, section in enumerate(arrangement.form.sections):
        key = section_key(arrangement, section)
        if key in seen:
            continue
        seen.add(key)
        bars = {bar_key(arrangement, k) for k in range(section.from_bar, section.to_bar)}
        familiar = bars <= bars_seen
        bars_seen |= bars
        for hands in HANDS:
            cell = cells[index, hands]
            fact = HandFacts(
                index, section.name, section_span(section), key, hands,
                length_s(arrangement, section_span(section)), cell.stage, cell.passes,
                familiar=familiar,
            )  # fmt: skip
            rows.append(
                _with_history(store, fact, now, definitions) if cell.stage != "unplayed" else fact
            )
    touched = read_touched(store, arrangement)
    weak = weak_bars(touched)
    partings = tuple(
        p for p in find_partings(arrangement) if not _is_settled(p, arrangement, touched)
    )
    ran = _ran_through(store, arrangement, now)
    return PlanFacts(arrangement, path, tuple(rows), tuple(weak), partings, ran)


def _is_settled(parting: Parting, arrangement: Arrangement, touched: Sequence[Touched]) -> bool:
    """Both its passages went well lately."""
    spans = (parting.first, parting.second)
    return all(is_settled(touched, written_bars(arrangement, s.from_bar, s.to_bar)) for s in spans)


def _ran_through(store: Store, arrangement: Arrangement, now: datetime) -> bool:
    return bool(
        store.query(
            """SELECT 1 FROM passes WHERE day = ? AND from_bar = 0 AND to_bar = ? AND hands = 'both'
                AND completed AND arrangement =
                    (SELECT id FROM arrangements WHERE content_hash = ?)
                AND take NOT IN (SELECT id FROM takes WHERE source = 'demo') LIMIT 1""",
            (now.date().isoformat(), len(arrangement.bars) - 1, arrangement.content_hash),
        )
    )


def length_s(arrangement: Arrangement, span: Span) -> float:
    """How long a span lasts at the marked tempo, seconds."""
    from_q, to_q = span.quarters(arrangement)
    return float(arrangement.seconds_at(float(to_q)) - arrangement.seconds_at(float(from_q)))


def _with_history(
    store: Store, fact: HandFacts, now: datetime, definitions: Definitions
) -> HandFacts:
    recent = read_recent(store, fact.key, fact.hands, 20)
    cold = read_cold(store, fact.key, fact.hands, COLD_PASSES)
    judged = [r for r in recent if r.asked]
    today = now.date().isoformat()
    return replace(
        fact,
        tempo_share=reached(judged),
        recall=find_recall(cold, now),
        played_today=any(r.day == today for r in recent),
        wrong_twice=len(judged) > 1 and not (judged[-1].good or judged[-2].good),
        falls_apart=falls_apart(judged),
        good_lately=sum(r.good for r in judged[-3:]) >= 2,
        kept_cold=kept_cold(cold, definitions.full_tempo),
        row_today=row_today(judged, today, definitions.full_tempo),
        begun_today=recent[-1].day == today and read_sums(store, fact.key, fact.hands).days == 1,
    )


def falls_apart(judged: Sequence[KeptSection]) -> bool:
    """Whether the last two passes were both under `APART_SHARE`."""
    return len(judged) > 1 and max(r.right_share for r in judged[-2:]) < APART_SHARE


def kept_cold(judged: Sequence[KeptSection], full: float = DEFINITIONS.full_tempo) -> bool | None:
    """Whether the latest cold pass was good at full tempo; None where there is none."""
    cold = [r for r in judged if r.cold]
    return cold[-1].as_pass(0).good_at(full) if cold else None


def row_today(
    judged: Sequence[KeptSection], today: str, full: float = DEFINITIONS.full_tempo
) -> int:
    """Good passes at full tempo in a row, the last of them the last of the day."""
    told = (r.day == today and r.as_pass(0).good_at(full) for r in judged[::-1])
    return sum(1 for _ in itertools.takewhile(bool, told))


def reached(judged: Sequence[KeptSection]) -> float | None:
    """The fastest of the last three good passes; where none is good, the middle of the last."""
    good = [r.tempo_share for r in judged if r.good and r.tempo_share]
    if good:
        return max(good[-3:])
    shares = sorted(r.tempo_share for r in judged[-3:] if r.tempo_share)
    return shares[len(shares) // 2] if shares else None


def find_partings(arrangement: Arrangement) -> list[Parting]:
    """For each pair of twins, the bars about each parting; exact repeats are left out."""
    out: list[Parting] = []
    for twins in arrangement.form.twins:
        spans = [_around(arrangement, float(q)) for q in twins.parting]
        # the bar that differs, not the one after it: that may be in the next section
        sections = tuple(
            _section_at(arrangement, arrangement.bar_at(float(q)).index) for q in twins.parting
        )
        written = {bar for s in spans for bar in written_bars(arrangement, s.to_bar, s.to_bar)}
        parting = Parting(spans[0], spans[1], twins.words, (sections[0], sections[1]))
        if len(written) == 2 and parting not in out:
            out.append(parting)
    return out


def _around(arrangement: Arrangement, at_q: float) -> Span:
    bar = arrangement.bar_at(at_q).index
    return Span(max(bar - 1, 0), min(bar + 1, len(arrangement.bars) - 1))


def _section_at(arrangement: Arrangement, bar: int) -> int:
    found = [k for k, s in enumerate(arrangement.form.sections) if s.from_bar <= bar < s.to_bar]
    return found[0] if found else 0
