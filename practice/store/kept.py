"""Takes and passes as the store hands them out: plain data, and the packing of a pass's detail."""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from engine.arrangement import Hands, Span
from engine.findings import Finding, Slip
from engine.measure.instrument import Instrument
from engine.performance import Pulse
from engine.section_review import SectionReview

#: Raised whenever the engine would say something else of the same notes.
ENGINE_EDITION = "7"

#: Parts of the measures that are worked out again when wanted.
NOT_KEPT = frozenset({"timing.tempo_curve", "balance.phrases"})

Source = Literal["played", "demo", "imported"]

_LETTERS = {
    "right": "r", "wrong": "w", "extra": "e", "missing": "m", "ornament": "o", "unclear": "u",
}  # fmt: skip
_WORDS: dict[str, Any] = {letter: word for word, letter in _LETTERS.items()}


@dataclass(frozen=True, slots=True)
class TakeStart:
    """What is known of a take when it begins.

    Attributes:
        instrument: what the keyboard is called; takes of two names are never one series.
        hands: None: the playing shall tell.
        profile: the keyboard as it was calibrated then, None if it was not.
    """

    content_hash: str
    title: str
    path: str
    instrument: str
    source: Source
    started: datetime
    span: Span
    hands: Hands | None
    pulse_kind: Literal["free", "strict"]
    rate: float
    profile: Instrument | None = None


@dataclass(frozen=True, slots=True)
class KeptTake:
    """A take in the store. `state`: open while it is being played, closed, or recovered."""

    number: int
    start: TakeStart
    state: Literal["open", "closed", "recovered"]
    notes: int
    length_s: float
    passes: int
    good_passes: int
    keeper: bool


@dataclass(frozen=True, slots=True)
class KeptPass:
    """What one pass came to; see the table `passes` in `practice.store.migrations`.

    `span` holds the bars it touched. `first_note` and `last_note` count in the take.
    `timing_ms`, `evenness_ms`, `tempo_qpm`: None where there was nothing to tell it from.
    `fingering`: what the evenness was fingered by, "" where the page tells none.
    """

    take: int
    number: int
    started: datetime
    day: str
    first_note: int
    last_note: int
    span: Span
    from_q: float
    to_q: float
    hands: Hands
    pulse: Pulse
    tempo_qpm: float | None
    completed: bool
    right: int
    wrong: int
    extra: int
    missing: int
    timing_ms: float | None
    evenness_ms: float | None
    good: bool
    why_not: str
    engine: str = ENGINE_EDITION
    fingering: str = ""


@dataclass(frozen=True, slots=True)
class PassDetail:
    """All that was said of a pass: findings (note numbers within the pass), slips, measures.

    `sections` is written to a table of its own and not read back with the rest
    (see `practice.store.section_store`).
    """

    findings: tuple[Finding, ...] = ()
    slips: tuple[Slip, ...] = ()
    measures: Mapping[str, Any] = field(default_factory=dict)
    sections: tuple[SectionReview, ...] = ()


def pack_detail(detail: PassDetail) -> bytes:
    """A pass's detail as deflated JSON, with a dictionary of what such a text mostly holds.

    What is long and can be had again from the notes (`NOT_KEPT`) is left out.
    """
    rows = [
        [_LETTERS[f.what], f.played, f.score, f.stands_for, round(f.certainty, 2)]
        for f in detail.findings
    ]
    slips = [
        [s.kind, s.played, s.score, s.expected, s.heard, s.words, s.evidence, round(s.certainty, 2)]
        for s in detail.slips
    ]
    columns = [_differences(column) if k in (1, 2) else list(column) for k, column in _turn(rows)]
    told = {"findings": columns, "slips": slips, "measures": _short(detail.measures)}
    packer = zlib.compressobj(9, zdict=_dictionary())
    return packer.compress(json.dumps(told, separators=(",", ":")).encode()) + packer.flush()


def _short(measures: Mapping[str, Any]) -> dict[str, Any]:
    return {
        name: {k: v for k, v in told.items() if f"{name}.{k}" not in NOT_KEPT}
        if isinstance(told, Mapping)
        else told
        for name, told in measures.items()
    }


@cache
def _dictionary() -> bytes:
    """A detail like any other, never to be changed: what was packed with it needs it."""
    return (files("practice.store") / "detail_dictionary.json").read_bytes()


def unpack_detail(blob: bytes) -> PassDetail:
    """The detail of a pass.

    Raises:
        ValueError: the blob is damaged.
    """
    try:
        told = json.loads(zlib.decompressobj(zdict=_dictionary()).decompress(blob))
        what, played, score, stands_for, certainty = told["findings"] or [[]] * 5
        findings = tuple(
            Finding(p, s, _WORDS[w], stands, c, final=True)
            for w, p, s, stands, c in zip(
                what, _sums(played), _sums(score), stands_for, certainty, strict=True
            )
        )
        return PassDetail(findings, tuple(Slip(*row) for row in told["slips"]), told["measures"])
    except (zlib.error, KeyError, TypeError) as error:
        raise ValueError("damaged") from error


def _turn(rows: Sequence[Sequence[Any]]) -> list[tuple[int, tuple[Any, ...]]]:
    """Rows to numbered columns."""
    return list(enumerate(zip(*rows, strict=True)))


def _differences(column: Sequence[int | None]) -> list[int | None]:
    """Each number less the one before: mostly small, so they deflate well."""
    out: list[int | None] = []
    last = 0
    for number in column:
        out.append(None if number is None else number - last)
        last = last if number is None else number
    return out


def _sums(column: Sequence[int | None]) -> list[int | None]:
    out: list[int | None] = []
    last = 0
    for step in column:
        last += step or 0
        out.append(None if step is None else last)
    return out
