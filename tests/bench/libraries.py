"""The best open note matchers, for comparison: parangonar's, whole take and live.

Foscarin, Peter, Widmer and others: parangonar, https://github.com/sildater/parangonar (3.x).
A benchmark extra, never a dependency: everything here is imported when asked for. Its live
transformers need torch, its network for whole takes also symusic and miditok: each is left out
where these are missing.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.performance import PlayedNote

Matcher = Callable[[Any, Any], list[dict[str, Any]]]

PLAYED_FIELDS = [
    ("onset_sec", "f4"), ("duration_sec", "f4"), ("onset_tick", "i4"), ("duration_tick", "i4"),
    ("pitch", "i4"), ("velocity", "i4"), ("track", "i4"), ("channel", "i4"), ("id", "U256"),
]  # fmt: skip


def score_array(path: Path) -> Any:
    """Partitura's note array of a score, all parts in one, grace notes included."""
    import partitura

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = partitura.load_musicxml(str(path))
        part = partitura.score.merge_parts(score.parts) if len(score.parts) > 1 else score.parts[0]
        return part.note_array(include_grace_notes=True)


def played_array(notes: Sequence[PlayedNote]) -> Any:
    """Played notes as partitura's performance array."""
    rows = [
        (n.onset_s, max(n.release_s - n.onset_s, 0.01), round(n.onset_s * 1000),
         max(round((n.release_s - n.onset_s) * 1000), 1), n.pitch, n.velocity, 0, 1, str(n.index))
        for n in notes
    ]  # fmt: skip
    return np.array(rows, dtype=PLAYED_FIELDS)


def matchers() -> dict[str, dict[str, Matcher]]:
    """The matchers at hand: {"whole": {name: function}, "live": {name: function}}."""
    from parangonar.match import DualDTWNoteMatcher, OLTWMatcher, TOLTWMatcher

    def whole(score: Any, played: Any) -> list[dict[str, Any]]:
        return list(DualDTWNoteMatcher()(score, played, process_ornaments=False))

    out: dict[str, dict[str, Matcher]] = {
        "whole": {"DualDTW": whole},
        "live": {"OLTW": _live(OLTWMatcher), "TOLTW": _live(TOLTWMatcher)},
    }
    try:
        import torch
        from parangonar.match import OnlinePureTransformerMatcher, OnlineTransformerMatcher

        torch.set_num_threads(1)
    except ImportError:
        return out
    out["live"]["Transformer"] = _live(OnlineTransformerMatcher)
    out["live"]["PureTransformer"] = _live(OnlinePureTransformerMatcher)
    try:
        from parangonar.match import TheGlueNoteMatcher

        network = TheGlueNoteMatcher()
    except ImportError:
        return out
    out["whole"]["TheGlueNote"] = network
    return out


def _live(kind: Any) -> Matcher:
    def run(score: Any, played: Any) -> list[dict[str, Any]]:
        return list(kind(score).offline(played))

    return run


def run_matcher(
    matcher: Matcher, score: Any, notes: Sequence[PlayedNote], arrangement: Arrangement
) -> tuple[list[Finding], float]:
    """A matcher's answer as findings, and what it took, microseconds a note.

    A matcher that fails on a take has matched nothing.
    """
    started = time.perf_counter()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            pairs = matcher(score, played_array(notes))
    except Exception:  # any failure inside a library counts as nothing found
        pairs = []
    took_us = (time.perf_counter() - started) / max(len(notes), 1) * 1e6
    found = {
        int(pair["performance_id"]): str(pair["score_id"])
        for pair in pairs
        if pair["label"] == "match"
    }
    index = arrangement.index_of
    scores = [index.get(f"{found[n.index]}-1") if n.index in found else None for n in notes]
    findings = [
        Finding(n.index, k, "extra" if k is None else "right")
        for n, k in zip(notes, scores, strict=True)
    ]
    return findings, took_us
