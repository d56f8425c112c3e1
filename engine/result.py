"""The result as JSON-ready data, as `engine/result.schema.json` describes it.

Numbers are rounded by the unit in their key (`DECIMALS`), so that results compare across
machines; what cannot be said is null with a reason.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from engine.arrangement import Arrangement, ScoreNote
from engine.findings import Estimate, Finding, Slip
from engine.other_hand import find_costs
from engine.performance import PlayedNote
from engine.pitch_names import pitch_name
from engine.review import PassReview, Review

VERSION = 1

#: Decimals kept, by the ending of the key; `""` is for every other number.
DECIMALS: dict[str, int] = {"_ms": 2, "_s": 4, "_q": 4, "_qpm": 2, "_db": 2, "beat": 4, "": 4}


def result_json(arrangement: Arrangement, review: Review) -> dict[str, Any]:
    """The whole result of reviewing a recording.

    Args:
        arrangement: the score reviewed against.
        review: from `engine.review.review_take`.
    """
    return {
        "version": VERSION,
        "arrangement": arrangement_json(arrangement),
        "passes": [pass_json(arrangement, p) for p in review.passes],
        "outside": outside_json(review),
        "other_hand": rounded(to_json(find_costs(arrangement, review.passes))),
    }


def arrangement_json(arrangement: Arrangement) -> dict[str, Any]:
    """Title, hash, bars (unfolded) and sections."""
    return {
        "title": arrangement.title,
        "hash": arrangement.content_hash,
        "bars": [{"number": b.number, "time": b.time} for b in arrangement.bars],
        "sections": [
            {"name": s.name, "letter": s.letter, "from_bar": s.from_bar, "to_bar": s.to_bar}
            for s in arrangement.form.sections
        ],
    }


def outside_json(review: Review) -> list[dict[str, Any]]:
    """Notes that belong to no pass: trying out, or a place that could not be told."""
    inside = {i for p in review.passes for i in range(p.played.first, p.played.last + 1)}
    return [
        rounded(
            {
                "played_index": n.index,
                "pitch": pitch_name(n.pitch),
                "onset_s": n.onset_s,
                "velocity": n.velocity,
            }
        )
        for n in review.recording.notes
        if n.index not in inside
    ]


def pass_json(arrangement: Arrangement, one: PassReview) -> dict[str, Any]:
    """One pass: where, which hands, each note, each slip, each measure."""
    told: dict[str, Any] = rounded(
        {
            "span": span_json(arrangement, one),
            "hands": one.hands,
            "pulse": one.pulse.kind,
            "tempo_qpm": None if math.isnan(one.played.tempo_qpm) else one.played.tempo_qpm,
            "started_s": one.notes[0].onset_s if one.notes else None,
            "reached_end": one.played.reached_end,
            "instrument": to_json(one.instrument),
            "notes": notes_json(arrangement, one),
            "slips": [slip_json(arrangement, one, s) for s in one.slips],
            "measures": to_json(one.measures),
        }
    )
    return told


def span_json(arrangement: Arrangement, one: PassReview) -> dict[str, Any]:
    """From bar and beat to bar and beat: printed numbers, and which time through."""
    first, last = arrangement.bar_at(one.played.from_q), arrangement.bar_at(one.played.to_q)
    return {
        "from_bar": first.number,
        "from_time": first.time,
        "from_beat": (one.played.from_q - float(first.onset_q - first.lead_q)) * first.beat_unit / 4
        + 1,
        "to_bar": last.number,
        "to_time": last.time,
        "to_beat": (one.played.to_q - float(last.onset_q - last.lead_q)) * last.beat_unit / 4 + 1,
    }


def notes_json(arrangement: Arrangement, one: PassReview) -> list[dict[str, Any]]:
    """Played notes in the order they came, each note left out before what followed it."""
    played = [f for f in one.findings if f.played is not None]
    left_out = [f for f in one.findings if f.played is None and f.score is not None]
    rows = [_played_json(arrangement, one, f) for f in played]
    reach = np.maximum.accumulate([_place_q(arrangement, f) for f in played] or [0.0])
    for f in reversed(left_out):
        at = int(np.searchsorted(reach, _place_q(arrangement, f), side="right"))
        rows.insert(at, _missing_json(arrangement, f))
    return rows


def _place_q(arrangement: Arrangement, finding: Finding) -> float:
    told = finding.score if finding.score is not None else finding.stands_for
    return -math.inf if told is None else float(arrangement.table["onset_q"][told])


def _where(arrangement: Arrangement, score: int | None) -> dict[str, Any]:
    if score is None:
        return {"bar": None, "bar_time": None, "beat": None, "hand": None}
    note = arrangement.notes[score]
    bar = arrangement.bars[note.bar]
    return {
        "bar": bar.number,
        "bar_time": bar.time,
        "beat": float(bar.beat_at(note.onset_q)),
        "hand": note.hand,
    }


def _score_id(arrangement: Arrangement, score: int | None) -> str | None:
    return None if score is None else arrangement.notes[score].score_id


def _played_json(arrangement: Arrangement, one: PassReview, f: Finding) -> dict[str, Any]:
    assert f.played is not None
    note: PlayedNote = one.notes[f.played]
    deviation_ms = one.deviations_ms[f.played]
    told = f.score if f.score is not None else f.stands_for
    written: ScoreNote | None = arrangement.notes[f.score] if f.score is not None else None
    return {
        "score_id": _score_id(arrangement, f.score),
        **_where(arrangement, told),
        "pitch": written.name if written else pitch_name(note.pitch),
        "what": f.what,
        "stands_for": _score_id(arrangement, f.stands_for),
        "certainty": f.certainty,
        "played_index": note.index + one.first,
        "onset_s": note.onset_s,
        "deviation_ms": None if math.isnan(deviation_ms) else deviation_ms,
        "velocity": note.velocity,
        **_live_json(arrangement, one, f.played),
    }


def _live_json(arrangement: Arrangement, one: PassReview, played: int) -> dict[str, Any]:
    if not one.live:
        return {}
    f = one.live[played]
    return {"live_what": f.what, "live_score_id": _score_id(arrangement, f.score)}


def _missing_json(arrangement: Arrangement, f: Finding) -> dict[str, Any]:
    assert f.score is not None
    return {
        "score_id": _score_id(arrangement, f.score),
        **_where(arrangement, f.score),
        "pitch": arrangement.notes[f.score].name,
        "what": "missing",
        "stands_for": None,
        "certainty": f.certainty,
        "played_index": None,
        "onset_s": None,
        "deviation_ms": None,
        "velocity": None,
    }


def slip_json(arrangement: Arrangement, one: PassReview, slip: Slip) -> dict[str, Any]:
    """One slip: kind, where, what was expected and what was heard, in words too."""
    return {
        "kind": slip.kind,
        "score_id": _score_id(arrangement, slip.score),
        **_where(arrangement, slip.score),
        "expected": slip.expected or None,
        "played": slip.heard or None,
        "played_index": None if slip.played is None else slip.played + one.first,
        "words": slip.words,
        "evidence": slip.evidence,
        "certainty": slip.certainty,
    }


def to_json(thing: Any) -> Any:
    """Dataclasses to objects; an estimate to {value, low, high, n}, or to null and the reason."""
    if isinstance(thing, Estimate):
        if thing.value is None:
            return {"value": None, "reason": thing.reason}
        return {"value": thing.value, "low": thing.low, "high": thing.high, "n": thing.n}
    if is_dataclass(thing) and not isinstance(thing, type):
        return {f.name: to_json(getattr(thing, f.name)) for f in fields(thing)}
    if isinstance(thing, dict):
        return {str(k): to_json(v) for k, v in thing.items()}
    if isinstance(thing, Sequence) and not isinstance(thing, str):
        return [to_json(v) for v in thing]
    if isinstance(thing, np.ndarray):
        return to_json(thing.tolist())
    if isinstance(thing, np.generic):
        return thing.item()
    return thing


def rounded(thing: Any, key: str = "") -> Any:
    """The same data with every float rounded by the unit in its key; nan and inf become null."""
    if isinstance(thing, float):
        return round(thing, decimals_of(key)) + 0.0 if math.isfinite(thing) else None
    if isinstance(thing, dict):
        inherit = {"value", "low", "high"}
        return {k: rounded(v, key if k in inherit else k) for k, v in thing.items()}
    if isinstance(thing, list):
        return [rounded(v, key) for v in thing]
    return thing


def decimals_of(key: str) -> int:
    """Decimals kept for a key: by the longest matching ending."""
    endings = [e for e in DECIMALS if key.endswith(e)]
    return DECIMALS[max(endings, key=len)]
