"""A judged pass in the words of those who ask: the window and the terminal, and the store."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from practice.listen.judge import Judged, fingering_of, value_of
from practice.snapshot import PassRecord
from practice.store.kept import KeptPass


def make_record(
    judged: Judged, number: int, take: int, started: datetime, played_on: str = ""
) -> PassRecord:
    """A judged pass as the window and the terminal show it."""
    one = judged.review
    return PassRecord(
        number, take, judged.ended.span, one.hands, one.pulse, one.played.from_q, one.played.to_q,
        one.notes, one.pedals, one.findings, one.deviations_ms, one.slips, one.measures,
        judged.good, judged.why_not, one.played.tempo_qpm, started.isoformat(timespec="seconds"),
        played_on,
    )  # fmt: skip


def keep_as(judged: Judged, number: int, started: datetime, take: int = 0) -> KeptPass:
    """A judged pass as the store keeps it; `number` counts in its take."""
    one, facts = judged.review, judged.facts
    tempo = one.played.tempo_qpm
    return KeptPass(
        take, number, started, started.date().isoformat(), one.first,
        one.first + len(one.notes) - 1, one.span, one.played.from_q, one.played.to_q, one.hands,
        replace(one.pulse), tempo if tempo == tempo else None, facts.completed, facts.right,
        facts.wrong, facts.extra, facts.missing, facts.deviation_ms,
        value_of(one, "evenness", "sd_ms"), judged.good, judged.why_not,
        fingering=fingering_of(one),
    )  # fmt: skip
