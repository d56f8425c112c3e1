"""A recording made elsewhere, kept as a take and judged as if it had been played here."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

from engine.arrangement import Arrangement
from engine.performance import KeyEvent, Pulse, pair_notes
from practice.drill import Drill
from practice.event_blobs import step_event
from practice.happenings import PassEnded
from practice.judge import detail_of, judge_pass
from practice.kept import TakeStart
from practice.sitting import keep_as
from practice.store import Store


def keep_recording(
    store_path: Path,
    arrangement: Arrangement,
    path: str,
    drill: Drill,
    events: Sequence[KeyEvent],
    now: datetime,
    pulse: Pulse | None = None,
) -> int:
    """Keep a recording.

    Args:
        store_path: the store's file.
        arrangement, path: the score it belongs to, and where that came from.
        drill: span and hands it is judged by.
        events: seconds from the recording's start.
        now: taken as the moment when it ended.
        pulse: strict, if it was played to a click.

    Returns:
        The take's number.
    """
    kept_events = [step_event(event) for event in events]
    length = timedelta(seconds=kept_events[-1].time_s if kept_events else 0.0)
    start = TakeStart(
        arrangement.content_hash, arrangement.title, path, "", "imported", now - length,
        drill.span, drill.hands, drill.pulse_kind, drill.rate,
    )  # fmt: skip
    recording = pair_notes(kept_events)
    ended = PassEnded(
        0, 1, 0, recording.notes, recording.pedals, drill.span, drill.hands, pulse or Pulse()
    )
    judged = judge_pass(arrangement, ended)
    with Store(store_path) as store:
        take = store.begin_take(start)
        store.append(take, kept_events, now)
        store.end_take(take, now)
        for number, one in enumerate(judged, 1):
            began = start.started + timedelta(seconds=one.review.notes[0].onset_s)
            store.add_pass(keep_as(one, number, began, take), detail_of(one))
        store.sync(take, now)
    return take
