"""The page read back as plain lists and numbers, for `--json`."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from engine.arrangement import Arrangement, Figure, Harmony, Twins
from engine.form.function import line_functions
from engine.proof.compare import Change
from engine.proof.remark import Remark

VERSION = 1


def proof_json(
    arrangement: Arrangement, remarks: Sequence[Remark], aside: Sequence[Remark] = ()
) -> dict[str, Any]:
    """The whole proof; places are printed bar numbers and beats, lengths quarters."""
    form = arrangement.form
    bars = arrangement.bars
    return {
        "version": VERSION,
        "arrangement": {
            "title": arrangement.title,
            "hash": arrangement.content_hash,
            "bars": len({b.written for b in bars}),
            "bars_played": len(bars),
            "fifths": arrangement.fifths,
        },
        "sections": [
            {
                "name": s.name,
                "letter": s.letter,
                "from_bar": bars[s.from_bar].number,
                "to_bar": bars[s.to_bar - 1].number,
                "time": bars[s.from_bar].time,
            }
            for s in form.sections
        ],
        "phrases": [
            {
                "section": form.sections[p.section].name,
                "number": p.number,
                "from": _place(arrangement, p.from_q),
                "length_q": _number(p.to_q - p.from_q),
            }
            for p in form.phrases
        ],
        "twins": [_twins(arrangement, t) for t in form.twins],
        "harmonies": [_harmony(arrangement, h) for h in form.harmonies],
        "line": [
            {"score_id": arrangement.notes[one.note].score_id, "function": one.words}
            for one in line_functions(arrangement)
        ],
        "doublings": [
            [arrangement.notes[i].score_id, arrangement.notes[j].score_id]
            for i, j in form.doublings
        ],
        "figures": [_figure(arrangement, f) for f in form.figures],
        "remarks": [remark_json(r) for r in remarks],
        "set_aside": [remark_json(r) for r in aside],
    }


def remark_json(remark: Remark) -> dict[str, Any]:
    """One remark."""
    return {
        "kind": remark.kind,
        "bar": remark.bar or None,
        "beat": None if remark.beat is None else _number(remark.beat),
        "why": remark.why,
        "certainty": round(remark.certainty, 2),
        "would_agree": remark.would_agree or None,
        "note_ids": list(remark.note_ids),
        "key": remark.key,
    }


def change_json(change: Change) -> dict[str, Any]:
    """One changed bar."""
    return {
        "kind": change.kind,
        "old_bar": change.old_bar or None,
        "new_bar": change.new_bar or None,
        "hands": list(change.hands),
        "words": change.words,
        "practice_counts": change.counts,
    }


def _number(value: Fraction) -> float:
    return round(float(value), 4)


def _place(arrangement: Arrangement, onset_q: Fraction) -> dict[str, Any]:
    bar = arrangement.bar_at(onset_q)
    return {"bar": bar.number, "beat": _number(bar.beat_at(onset_q)), "time": bar.time}


def _twins(arrangement: Arrangement, twins: Twins) -> dict[str, Any]:
    return {
        "first": _place(arrangement, twins.first_q),
        "second": _place(arrangement, twins.second_q),
        "length_q": _number(twins.length_q),
        "parting": [_place(arrangement, q) for q in twins.parting],
        "transposed": twins.transposed,
        "hands": twins.hands,
        "words": twins.words,
    }


def _harmony(arrangement: Arrangement, harmony: Harmony) -> dict[str, Any]:
    return {
        "from": _place(arrangement, harmony.from_q),
        "length_q": _number(harmony.to_q - harmony.from_q),
        "root": harmony.root,
        "quality": harmony.quality,
        "colours": list(harmony.colours),
        "symbol": harmony.symbol,
        "certainty": harmony.certainty,
    }


def _figure(arrangement: Arrangement, figure: Figure) -> dict[str, Any]:
    return {
        "hand": figure.hand,
        "cell_q": _number(figure.cell_q),
        "places": figure.places,
        "cells": [[arrangement.notes[i].score_id for i in cell] for cell in figure.occurrences],
    }
