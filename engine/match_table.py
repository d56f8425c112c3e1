"""The table of matches: one row a played note, tab-separated, for comparing with a truth.

Columns: played_index, onset_ms, pitch, score_id, stands_for, ornament_of, what, certainty.
Rows are ordered by the recording's note index. `score_id` is empty where a note answers to
nothing and `ornament` where it realises a sign beyond its written note.
"""

from __future__ import annotations

from collections.abc import Iterable

from engine.arrangement import Arrangement
from engine.findings import Finding
from engine.performance import PlayedNote

COLUMNS = (
    "played_index", "onset_ms", "pitch", "score_id", "stands_for", "ornament_of", "what",
    "certainty",
)  # fmt: skip


def match_table(
    arrangement: Arrangement, notes: Iterable[PlayedNote], findings: Iterable[Finding]
) -> str:
    """The table as text, one line a played note, with a header line.

    Args:
        arrangement: the score that the findings speak of.
        notes: the played notes; their `index` is the row's name.
        findings: at most one for each played note; those for missing notes are passed over.
    """
    by_played = {f.played: f for f in findings if f.played is not None}
    rows = ["\t".join(COLUMNS)]
    rows.extend("\t".join(_row(arrangement, note, by_played.get(note.index))) for note in notes)
    return "\n".join(rows) + "\n"


def _row(arrangement: Arrangement, note: PlayedNote, finding: Finding | None) -> tuple[str, ...]:
    head = (str(note.index), f"{note.onset_s * 1000:.1f}", str(note.pitch))
    if finding is None:
        return (*head, "", "", "", "", "")

    def name(score: int | None) -> str:
        return "" if score is None else arrangement.notes[score].score_id

    ornament = finding.what == "ornament"
    return (
        *head,
        "ornament" if ornament else name(finding.score),
        name(finding.stands_for) if finding.what == "wrong" else "",
        name(finding.stands_for) if ornament else "",
        finding.what,
        f"{finding.certainty:.3f}",
    )
