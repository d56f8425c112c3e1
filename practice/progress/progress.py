"""Progress of one arrangement: where every section stands, and what changed over the days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from engine.arrangement import Arrangement, Hands
from engine.section_review import section_key
from engine.standing import (
    DEFINITIONS,
    Definitions,
    Retention,
    SectionPass,
    Standing,
    find_standing,
)
from practice.progress.changes import (
    Candidate,
    Claim,
    find_candidates,
    find_cost,
    judge_candidates,
)
from practice.progress.weak_bars import find_weak_bars
from practice.snapshot import MapCell
from practice.store.history import (
    Day,
    Fingered,
    MonthOfPlaces,
    Sums,
    Totals,
    read_days,
    read_fingering,
    read_fingerings,
    read_instrument,
    read_kinds,
    read_place_months,
    read_places,
    read_retention,
    read_sums,
    read_totals,
    usual_tempo,
)
from practice.store.section_store import Edit, KeptSection, find_edit, read_cold, read_recent
from practice.store.store import Store

HANDS: tuple[Hands, ...] = ("left", "right", "both")
#: Stages and the usual tempo look at so many last passes.
RECENT = 50
#: Places of the figure are shown for so many last months.
MONTHS = 12


@dataclass(frozen=True, slots=True)
class HandProgress:
    """One section and hand.

    Attributes:
        standing: stage with its reason, by content: a section that comes again shares it.
        days: the last ones, see `practice.store.history.Day`. sums: of all days.
        tempo_share: usual tempo, at which evenness is compared.
        retention: cold passes against the day before.
        claims: what changed, each with its test (see `practice.progress.changes`).
        places_then, places_now: deviation of each place in ms, oldest and newest passes at like
            tempo. place_months: the same month by month, the last `MONTHS`.
        alone: for both hands, the days of the figure's hand alone at this tempo.
        fingerings: that the figure was played with, the latest first; all evenness is of the first.
    """

    hands: Hands
    standing: Standing
    days: tuple[Day, ...] = ()
    tempo_share: float | None = None
    retention: tuple[Retention, ...] = ()
    sums: Sums = field(default_factory=Sums)
    claims: tuple[Claim, ...] = ()
    places_then: tuple[tuple[float, ...], ...] = ()
    places_now: tuple[tuple[float, ...], ...] = ()
    place_months: tuple[MonthOfPlaces, ...] = ()
    alone: tuple[Day, ...] = ()
    fingerings: tuple[Fingered, ...] = ()


@dataclass(frozen=True, slots=True)
class SectionProgress:
    """One section, where it stands first in the form; `also` are its other places.

    `bars` is how many it has; from_bar and to_bar are printed numbers. kinds: (month, kind of
    slip, count) in this section.
    """

    index: int
    name: str
    key: str
    from_bar: str
    to_bar: str
    bars: int
    also: tuple[int, ...]
    hands: tuple[HandProgress, ...]
    kinds: tuple[tuple[str, str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Weak:
    """A bar by its printed number that went wrong in so many of its last passes."""

    number: str
    faulty: int
    passes: int
    hands: Hands


@dataclass(frozen=True, slots=True)
class Progress:
    """All of it. `kinds`: (month, kind of slip, count). `weak`: bars, weakest first."""

    title: str
    content_hash: str
    totals: Totals
    seconds: float
    sections: tuple[SectionProgress, ...]
    kinds: tuple[tuple[str, str, int], ...]
    edit: Edit
    weak: tuple[Weak, ...] = ()


def read_progress(
    store: Store, arrangement: Arrangement, definitions: Definitions = DEFINITIONS
) -> Progress:
    """The progress of an arrangement from the take store."""
    keys = section_keys(arrangement)
    sections = tuple(
        _read_section(store, arrangement, key, places, definitions)
        for key, places in _group(keys).items()
    )
    sections = _claim(sections)
    seconds = sum(h.sums.seconds for s in sections for h in s.hands)
    return Progress(
        arrangement.title,
        arrangement.content_hash,
        read_totals(store, arrangement.title),
        seconds,
        sections,
        tuple(read_kinds(store, list(dict.fromkeys(keys)))),
        find_edit(store, arrangement),
        tuple(
            Weak(arrangement.bars[w.bar].number, w.faulty, w.passes, w.hands)
            for w in find_weak_bars(store, arrangement)
        ),
    )


def _claim(sections: Sequence[SectionProgress]) -> tuple[SectionProgress, ...]:
    """The sections with what can be claimed of them, all comparisons counted together."""
    found: dict[tuple[str, Hands], list[Candidate]] = {
        (s.key, h.hands): [*find_candidates(h.days), *find_cost(h.alone, h.days)]
        for s in sections
        for h in s.hands
    }
    looks = sum(map(len, found.values()))
    return tuple(
        replace(
            s,
            hands=tuple(
                replace(h, claims=tuple(judge_candidates(found[s.key, h.hands], looks)))
                for h in s.hands
            ),
        )
        for s in sections
    )


def section_keys(arrangement: Arrangement) -> list[str]:
    """The key of each section, in order of the form."""
    return [section_key(arrangement, section) for section in arrangement.form.sections]


def _group(keys: Sequence[str]) -> dict[str, list[int]]:
    places: dict[str, list[int]] = {}
    for index, key in enumerate(keys):
        places.setdefault(key, []).append(index)
    return places


def _read_section(
    store: Store,
    arrangement: Arrangement,
    key: str,
    places: Sequence[int],
    definitions: Definitions,
) -> SectionProgress:
    section = arrangement.form.sections[places[0]]
    return SectionProgress(
        places[0],
        section.name,
        key,
        arrangement.bars[section.from_bar].number,
        arrangement.bars[section.to_bar - 1].number,
        section.to_bar - section.from_bar,
        tuple(places[1:]),
        tuple(_read_hand(store, key, places[0], hands, definitions) for hands in HANDS),
        tuple(read_kinds(store, [key])),
    )


def _read_hand(
    store: Store, key: str, section: int, hands: Hands, definitions: Definitions
) -> HandProgress:
    recent = read_recent(store, key, hands, RECENT)
    if not recent:
        return HandProgress(hands, find_standing(section, hands, [], definitions))
    tempo = usual_tempo(recent)
    days = tuple(read_days(store, key, hands, tempo))
    sums = read_sums(store, key, hands)
    standing = _stand(store, key, section, hands, recent, sums, definitions)
    then, now = read_places(store, key, hands, tempo)
    return HandProgress(
        hands,
        standing,
        days,
        tempo,
        tuple(read_retention(store, key, hands)),
        sums,
        (),
        tuple(map(tuple, then)),
        tuple(map(tuple, now)),
        place_months=tuple(read_place_months(store, key, hands, tempo, _months(days))),
        alone=_days_alone(store, key, tempo) if hands == "both" else (),
        fingerings=tuple(read_fingerings(store, key, hands)),
    )


def _months(days: Sequence[Day]) -> list[str]:
    """The last months in which the figure was played."""
    return sorted({d.day[:7] for d in days if d.evenness_ms.n})[-MONTHS:]


def _days_alone(store: Store, key: str, tempo: float | None) -> tuple[Day, ...]:
    """Days of the hand that has the figure, alone, on the instrument both were played on last."""
    played_on = read_instrument(store, key, "both")
    fingering = read_fingering(store, key, "both")
    alone: tuple[Hands, ...] = ("left", "right")
    days = [
        [
            d
            for d in read_days(store, key, hands, tempo, fingering=fingering)
            if d.evenness_ms.value is not None
        ]
        for hands in alone
        if read_instrument(store, key, hands) == played_on
    ]
    days.sort(key=len)
    return tuple(days[-1]) if days else ()


def _stand(
    store: Store,
    key: str,
    section: int,
    hands: Hands,
    recent: Sequence[KeptSection],
    sums: Sums,
    definitions: Definitions,
) -> Standing:
    """The standing from the last passes and cold passes, with the counts of all days."""
    cold = read_cold(store, key, hands, definitions.secure_days + 1)
    told = {(r.started_us, r.take, r.number, r.day): r for r in (*cold, *recent)}
    passes: list[SectionPass] = [told[at].as_pass(section) for at in sorted(told)]
    found = find_standing(section, hands, passes, definitions)
    return Standing(
        section, hands, found.stage, found.reason, found.last_cold,
        sums.passes, sums.good,
    )  # fmt: skip


def read_map(
    store: Store, arrangement: Arrangement, definitions: Definitions = DEFINITIONS
) -> tuple[MapCell, ...]:
    """The cells of the map: every section and hand, in order of playing."""
    keys = section_keys(arrangement)
    standing: dict[tuple[str, Hands], Standing] = {}
    for key, places in _group(keys).items():
        for hands in HANDS:
            recent = read_recent(store, key, hands, RECENT)
            sums = read_sums(store, key, hands)
            standing[key, hands] = _stand(store, key, places[0], hands, recent, sums, definitions)
    return tuple(
        _map_cell(index, hands, standing[key, hands])
        for index, key in enumerate(keys)
        for hands in HANDS
    )


def _map_cell(section: int, hands: Hands, at: Standing) -> MapCell:
    return MapCell(section, hands, at.stage, at.reason, at.last_cold, at.passes)
