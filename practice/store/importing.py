"""A recording made elsewhere, kept as a take and judged as if it had been played here."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from engine.arrangement import Arrangement
from engine.performance import KeyEvent, Pulse, pair_notes
from engine.standing import DEFINITIONS, Definitions
from practice.drill import Drill
from practice.listen.happenings import PassEnded
from practice.listen.judge import detail_of, judge_pass
from practice.listen.judged_pass import keep_as
from practice.store.event_blobs import step_event
from practice.store.kept import KeptTake, TakeStart
from practice.store.section_store import keep_bars
from practice.store.store import Store


def keep_recording(
    store_path: Path,
    arrangement: Arrangement,
    path: str,
    drill: Drill,
    events: Sequence[KeyEvent],
    now: datetime,
    pulse: Pulse | None = None,
    definitions: Definitions = DEFINITIONS,
) -> int:
    """Keep a recording.

    Args:
        store_path: the store's file.
        arrangement, path: the score it belongs to, and where that came from.
        drill: span and hands it is judged by.
        events: seconds from the recording's start.
        now: taken as the moment when it ended.
        pulse: strict, if it was played to a click.
        definitions: what makes a pass good.

    Returns:
        The take's number.
    """
    kept_events = [step_event(event) for event in events]
    length = timedelta(seconds=kept_events[-1].time_s if kept_events else 0.0)
    # In UTC: the hour that comes twice in autumn is another hour the second time.
    began = (now.astimezone(UTC) - length).astimezone(now.tzinfo)
    start = TakeStart(
        arrangement.content_hash, arrangement.title, path, "", "imported", began,
        drill.span, drill.hands, drill.pulse_kind, drill.rate,
    )  # fmt: skip
    with Store(store_path) as store:
        number = store.begin_take(start)
        store.append(number, kept_events, now)
        store.end_take(number, now)
        judge_kept(store, arrangement, store.take(number), pulse, definitions)
        keep_bars(store, arrangement)
        store.sync(number, now)
    return number


def judge_kept(
    store: Store,
    arrangement: Arrangement,
    take: KeptTake,
    pulse: Pulse | None = None,
    definitions: Definitions = DEFINITIONS,
) -> int:
    """Judge all of a kept take, as one stretch of playing, and keep what its passes came to.

    By the keyboard as it was calibrated when it was played.

    Args:
        store: where it is. arrangement: what it was played from. take: which.
        pulse: strict, if it was played to a click and its downbeat is known.
        definitions: what makes a pass good.

    Returns:
        How many passes were found.
    """
    recording = pair_notes(store.events(take.number))
    start = take.start
    ended = PassEnded(
        arrangement, 0, 1, 0, recording.notes, recording.pedals, start.span, start.hands,
        pulse or Pulse(),
    )  # fmt: skip
    judged = judge_pass(ended, instrument=start.profile, definitions=definitions)
    for number, one in enumerate(judged, 1):
        began = start.started + timedelta(seconds=one.review.notes[0].onset_s)
        store.add_pass(keep_as(one, number, began, take.number), detail_of(one))
    return len(judged)
