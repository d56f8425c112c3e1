"""A take as a table: one row for each note played or left out."""

from __future__ import annotations

import csv
import io
from typing import Any

#: The columns of the CSV, with what they hold. Empty where it does not apply.
COLUMNS = {
    "pass": "number, from 1",
    "played_index": "number among the take's note-ons, from 0",
    "score_id": "id in the file and which time through (n17-2)",
    "stands_for": "the written note that a wrong one replaced",
    "what": "right, wrong, extra, missing, ornament or unclear",
    "bar": "printed number",
    "bar_time": "which time through",
    "beat": "1 is the downbeat",
    "hand": "left or right",
    "pitch": "as spelled: Bbb4; C4 is MIDI 60",
    "onset_s": "seconds from the take's start",
    "deviation_ms": "positive: late",
    "velocity": "1 to 127",
    "slip": "its kind",
    "words": "the slip in a sentence",
}


def take_csv(result: dict[str, Any]) -> str:
    """The rows of a result (`engine.result.result_json`); see `COLUMNS`."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(COLUMNS), lineterminator="\n", extrasaction="ignore")
    writer.writeheader()
    for number, one in enumerate(result["passes"], 1):
        slips = {_place(s["played_index"], s["score_id"]): s for s in one["slips"]}
        for note in one["notes"]:
            told = note["stands_for"] or note["score_id"]
            slip = slips.get(_place(note["played_index"], told), {})
            row = {**note, "pass": number, "slip": slip.get("kind"), "words": slip.get("words")}
            writer.writerow({k: "" if v is None else v for k, v in row.items()})
    return out.getvalue()


def _place(played: int | None, score_id: str | None) -> tuple[str, int | str | None]:
    """By which a slip and its note know each other."""
    return ("played", played) if played is not None else ("missing", score_id)
