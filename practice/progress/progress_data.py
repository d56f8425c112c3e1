"""Progress as data for other programs: JSON, and CSV with one row a section, hand and day."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any

from engine.result import rounded, to_json
from practice.progress.news import find_news
from practice.progress.progress import Progress

VERSION = 1

#: The columns of the CSV, with what they hold.
COLUMNS = {
    "section": "name",
    "from_bar": "printed number",
    "to_bar": "printed number",
    "hands": "left, right or both",
    "day": "local date",
    "passes": "of the whole section",
    "good": "of these",
    "parts": "passes of a part of the section",
    "right_share": "share of all notes right",
    "seconds": "at the keys",
    "tempo_share": "fastest good pass, share of the marked tempo",
    "timing_ms": "mean over the passes of the median absolute deviation",
    "timing_low_ms": "95 % interval",
    "timing_high_ms": "95 % interval",
    "timing_n": "passes",
    "evenness_ms": "mean spread of the figure, at like tempo",
    "evenness_low_ms": "95 % interval",
    "evenness_high_ms": "95 % interval",
    "evenness_n": "passes",
    "stage": "the section's stage today",
}


def progress_json(progress: Progress) -> dict[str, Any]:
    """Everything, with its version."""
    told: dict[str, Any] = rounded(to_json(progress))
    told["kinds"] = _kinds(progress.kinds)
    for section, its in zip(told["sections"], progress.sections, strict=True):
        section["kinds"] = _kinds(its.kinds)
    told["news"] = [to_json(one) for one in find_news(progress)]
    return {"version": VERSION, **told}


def _kinds(kinds: Sequence[tuple[str, str, int]]) -> list[dict[str, Any]]:
    return [{"month": m, "kind": k, "count": n} for m, k, n in kinds]


def progress_csv(progress: Progress) -> str:
    """One row for each section, hand and day; see `COLUMNS`."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(COLUMNS), lineterminator="\n")
    writer.writeheader()
    for section in progress.sections:
        for hand in section.hands:
            for day in hand.days:
                even, timing = day.evenness_ms, day.timing_ms
                row = (
                    section.name, section.from_bar, section.to_bar, hand.hands, day.day,
                    day.passes, day.good, day.parts, _plain(day.right_share, 4),
                    _plain(day.seconds, 1), _plain(day.tempo_share, 4),
                    _plain(timing.value), _plain(timing.low), _plain(timing.high), timing.n,
                    _plain(even.value), _plain(even.low), _plain(even.high), even.n,
                    hand.standing.stage,
                )  # fmt: skip
                writer.writerow(dict(zip(COLUMNS, row, strict=True)))
    return out.getvalue()


def _plain(value: float | None, decimals: int = 2) -> str:
    return "" if value is None else f"{value:.{decimals}f}"
