"""Real recordings with the findings that their truth tables give, no follower in between."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.performance import Recording
from engine.read.score_file import read_arrangement
from practice.store.recording import read_recording


@dataclass(frozen=True)
class LabelledTake:
    """A score, a recording of it, and what each note is by the truth table."""

    name: str
    arrangement: Arrangement
    recording: Recording
    findings: tuple[Finding, ...]


def read_labelled(folder: Path, take: str = "p1") -> LabelledTake:
    """Read score, recording and truth of one folder.

    Labels without a number through the repeats are taken as the first time; labels of notes
    that the arrangement does not have become "unclear".
    """
    arrangement = read_arrangement(folder / "score.musicxml")
    recording = read_recording(folder / f"{take}.mid")
    findings = label_findings(arrangement, folder / f"{take}.truth.tsv")
    return LabelledTake(f"{folder.name} {take}", arrangement, recording, findings)


def label_findings(arrangement: Arrangement, table: Path) -> tuple[Finding, ...]:
    """One finding for each row of a truth table, and one for each note left out."""
    with table.open(newline="") as file:
        rows = list(csv.DictReader(file, delimiter="\t"))
    said = [_finding(arrangement, int(r["played_index"]), r["score_id"] or "") for r in rows]
    stands = arrangement.table["unison"]
    told = {int(stands[f.score]) for f in said if f.score is not None}
    missing = [
        Finding(None, i, "missing", final=True)
        for i, note in enumerate(arrangement.notes)
        if int(stands[i]) == i and i not in told and not note.optional
    ]
    return (*said, *missing)


def _finding(arrangement: Arrangement, played: int, label: str) -> Finding:
    if not label:
        return Finding(played, None, "extra", final=True)
    if label == "ornament":
        return Finding(played, None, "ornament", final=True)
    for name in (label, label.removesuffix("-1"), f"{label}-1"):
        if name in arrangement.index_of:
            return Finding(played, arrangement.index_of[name], "right", final=True)
    return Finding(played, None, "unclear", final=True)
