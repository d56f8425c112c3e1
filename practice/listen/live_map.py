"""The map while practising: what the store tells at first, and each pass as it is judged."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from engine.arrangement import Arrangement, Hands
from engine.section_review import SectionReview
from engine.standing import DEFINITIONS, Definitions, SectionPass, find_standing
from practice.progress.progress import HANDS, RECENT, section_keys
from practice.snapshot import MapCell
from practice.store.history import read_sums
from practice.store.section_store import read_cold, read_recent
from practice.store.store import Store


class LiveMap:
    """Stages of all sections and hands, kept up to date. One thread uses it."""

    def __init__(self, arrangement: Arrangement, definitions: Definitions = DEFINITIONS) -> None:
        self._keys = section_keys(arrangement)
        self._definitions = definitions
        self._passes: dict[tuple[str, Hands], list[SectionPass]] = {
            (key, hands): [] for key in self._keys for hands in HANDS
        }
        self._counts: dict[tuple[str, Hands], int] = {}
        self._seen: set[tuple[str, str]] = set()

    def load(self, store: Store) -> None:
        """Take over what the store knows."""
        for (key, hands), passes in self._passes.items():
            recent = read_recent(store, key, hands, RECENT)
            cold = read_cold(store, key, hands, self._definitions.secure_days + 1)
            told = {(r.started_us, r.take, r.number): r for r in (*cold, *recent)}
            passes[:] = [told[at].as_pass(0) for at in sorted(told)]
            self._seen |= {(key, r.day) for r in recent}
            self._counts[key, hands] = read_sums(store, key, hands).passes

    def add(self, parts: Iterable[SectionReview], day: str) -> None:
        """A pass was judged on this (local) day."""
        for part in parts:
            place = (part.key, day)
            passes = self._passes.get((part.key, part.hands))
            if passes is not None:
                passes.append(
                    replace(_as_pass(part, day), cold=part.asked and place not in self._seen)
                )
                at = (part.key, part.hands)
                self._counts[at] = self._counts.get(at, 0) + part.asked
            self._seen.add(place)

    def cells(self) -> tuple[MapCell, ...]:
        """Every section and hand, in order of playing."""
        return tuple(
            self._cell(index, key, hands)
            for index, key in enumerate(self._keys)
            for hands in HANDS
        )  # fmt: skip

    def _cell(self, section: int, key: str, hands: Hands) -> MapCell:
        at = find_standing(section, hands, self._passes[key, hands], self._definitions)
        passes = self._counts.get((key, hands), 0)
        return MapCell(section, hands, at.stage, at.reason, at.last_cold, passes)


def _as_pass(part: SectionReview, day: str) -> SectionPass:
    return SectionPass(
        0, part.hands, day, part.asked, part.good, part.why_not, part.tempo_share,
        part.facts.right_share, evenness_ms=part.evenness_ms.value,
    )  # fmt: skip
