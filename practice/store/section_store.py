"""Sections over time: what each pass came to in each section, kept beside the takes.

A section is known by what it holds (`engine.section_review.section_key`), so that a score edited
elsewhere keeps its history, and a passage that comes again shares one.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from engine.arrangement import Arrangement, Hands
from engine.section_review import bar_key
from engine.standing import SectionPass
from practice.store.section_rows import COLUMNS
from practice.store.store import Store


@dataclass(frozen=True, slots=True)
class KeptSection:
    """One row: a pass's part in a section, in order of playing."""

    take: int
    number: int
    key: str
    hands: Hands
    started_us: int
    day: str
    cold: bool
    asked: bool
    good: bool
    why_not: str
    tempo_share: float | None
    right: int
    notes: int
    seconds: float
    timing_ms: float | None
    evenness_ms: float | None
    step_ms: float | None
    places_ms: tuple[float | None, ...]
    slips: dict[str, int]
    fingering: str = ""

    @property
    def right_share(self) -> float:
        """Share of its notes that were right."""
        return self.right / self.notes if self.notes else 0.0

    def as_pass(self, section: int) -> SectionPass:
        """The same for `engine.standing`, as a pass of the section of that index."""
        return SectionPass(
            section, self.hands, self.day, self.asked, self.good, self.why_not, self.tempo_share,
            self.right_share, self.notes, self.evenness_ms, self.cold,
        )  # fmt: skip


def read_sections(store: Store, keys: Sequence[str], since_us: int = 0) -> list[KeptSection]:
    """Everything kept of these sections, in order of playing.

    Args:
        since_us: only from this moment on (microseconds since 1970, UTC).
    """
    marks = ", ".join("?" * len(keys))
    rows = store.query(
        f"""SELECT {COLUMNS} FROM section_passes WHERE key IN ({marks}) AND started_us >= ?
            ORDER BY started_us, take, pass, rowid""",
        (*keys, since_us),
    )
    return [_kept_section(row) for row in rows]


def read_recent(store: Store, key: str, hands: Hands, limit: int) -> list[KeptSection]:
    """The last passes of one section and hand, oldest first."""
    rows = store.query(
        f"""SELECT {COLUMNS} FROM section_passes WHERE key = ? AND hands = ?
            ORDER BY started_us DESC, take DESC, pass DESC, rowid DESC LIMIT ?""",
        (key, hands, limit),
    )
    return [_kept_section(row) for row in reversed(rows)]


def read_cold(store: Store, key: str, hands: Hands, limit: int) -> list[KeptSection]:
    """The last cold passes of one section and hand, oldest first."""
    rows = store.query(
        f"""SELECT {COLUMNS} FROM section_passes WHERE key = ? AND hands = ? AND cold
            ORDER BY started_us DESC LIMIT ?""",
        (key, hands, limit),
    )
    return [_kept_section(row) for row in reversed(rows)]


def read_tempo_shares(store: Store, content_hash: str) -> dict[tuple[int, int], float]:
    """The share of the marked tempo of each pass of an arrangement, by take and number.

    Over all its sections: the time that the page asks for over the time it took.
    """
    rows = store.query(
        """SELECT s.take, s.pass, sum(s.tempo_share * s.seconds) / sum(s.seconds)
            FROM passes p JOIN section_passes s ON s.take = p.take AND s.pass = p.number
            WHERE p.arrangement = (SELECT id FROM arrangements WHERE content_hash = ?)
            AND s.tempo_share IS NOT NULL AND s.seconds > 0 GROUP BY s.take, s.pass""",
        (content_hash,),
    )
    return {(take, number): share for take, number, share in rows}


def _kept_section(row: Sequence[Any]) -> KeptSection:
    (take, number, key, hands, started_us, day, cold, asked, good, why_not, tempo, right, notes,
     seconds, timing, evenness, step, places, slips, fingering) = row  # fmt: skip
    return KeptSection(
        take, number, key, hands, started_us, day, bool(cold), bool(asked), bool(good), why_not,
        tempo, right, notes, seconds, timing, evenness, step,
        tuple(json.loads(places)) if places else (), json.loads(slips) if slips else {}, fingering,
    )  # fmt: skip


def keep_bars(store: Store, arrangement: Arrangement) -> None:
    """Keep what each bar holds, so that a later edit can be told bar by bar."""
    rows = [
        (b.index, b.number, b.time, bar_key(arrangement, b.index), arrangement.content_hash)
        for b in arrangement.bars
    ]
    with store.writing() as db:
        db.execute(
            "INSERT OR IGNORE INTO arrangements (content_hash, title) VALUES (?, ?)",
            (arrangement.content_hash, arrangement.title),
        )
        db.executemany(
            """INSERT OR REPLACE INTO bars (arrangement, bar, number, time, key)
                SELECT id, ?, ?, ?, ? FROM arrangements WHERE content_hash = ?""",
            rows,
        )


@dataclass(frozen=True, slots=True)
class Edit:
    """How a score differs from the version of the same title that was practised last.

    Attributes:
        before: when that version was last practised (local date), "" where there is none.
        changed: printed numbers of bars here that are in no earlier version.
        gone: of bars there that are no longer here.
    """

    before: str = ""
    changed: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()


def find_edit(store: Store, arrangement: Arrangement) -> Edit:
    """What an edit of the score changed, bar by bar, against its last practised version."""
    rows = store.query(
        """SELECT a.id, max(p.day) FROM arrangements a JOIN passes p ON p.arrangement = a.id
            WHERE a.title = ? AND a.content_hash != ? GROUP BY a.id ORDER BY max(p.started_us) DESC
            LIMIT 1""",
        (arrangement.title, arrangement.content_hash),
    )
    if not rows:
        return Edit()
    old = store.query("SELECT number, key FROM bars WHERE arrangement = ?", (rows[0][0],))
    if not old:
        return Edit()
    here = [(b.number, bar_key(arrangement, b.index)) for b in arrangement.bars]
    return Edit(rows[0][1], _only_in(here, old), _only_in(old, here))


def _only_in(these: Iterable[tuple[Any, ...]], those: Iterable[tuple[Any, ...]]) -> tuple[str, ...]:
    there = {key for _, key in those}
    return tuple(dict.fromkeys(number for number, key in these if key not in there))
