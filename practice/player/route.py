"""Which onsets are played, in which order, and when: the player's way through the page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement, Hands, Span, notes_in
from practice.player.character import Character

#: A hesitation's length is log-normal with this sigma.
HESITATION_SIGMA = 0.5
#: However much a clock wavers, an interval keeps this share of its length.
SHORTEST = 0.2
#: A player who goes back for ever is stopped after this many stops.
MOST_STOPS = 200


@dataclass(frozen=True)
class Onsets:
    """The moments at which something is to be struck.

    Attributes:
        q: quarters, ascending. notes: for each, the score indices to strike.
        s: seconds at the marked tempo. bar: index of each one's bar.
        origin_s: where the span begins, seconds at the marked tempo.
    """

    q: npt.NDArray[np.float64]
    s: npt.NDArray[np.float64]
    bar: npt.NDArray[np.intp]
    notes: tuple[tuple[int, ...], ...]
    origin_s: float


@dataclass(frozen=True)
class Stretch:
    """One unbroken run over onsets [first, first + len(time_s)), with when each is aimed at."""

    first: int
    time_s: npt.NDArray[np.float64]
    seconds_per_s: float


def find_onsets(arrangement: Arrangement, span: Span, hands: Hands) -> Onsets:
    """The onsets of a span and hand(s); one stroke for a unison; cue notes are not played."""
    chosen = notes_in(arrangement, span, hands)
    table = arrangement.table
    inside = set(chosen.tolist())
    groups: dict[float, list[int]] = {}
    for i in chosen.tolist():
        other = int(table["unison"][i])
        if table["optional"][i] or (other != i and other in inside):
            continue
        groups.setdefault(float(table["onset_q"][i]), []).append(i)
    q = np.array(sorted(groups))
    notes = tuple(tuple(groups[at]) for at in q.tolist())
    bar = np.array([table["bar"][group[0]] for group in notes], dtype=np.intp)
    origin = float(arrangement.seconds_at(float(span.quarters(arrangement)[0])))
    return Onsets(q, arrangement.seconds_at(q), bar, notes, origin)


def walk(
    onsets: Onsets, character: Character, rng: np.random.Generator, start_s: float, rate: float
) -> list[Stretch]:
    """The stretches of one performance, in order of playing."""
    if not len(onsets.q):
        return []
    stretches: list[Stretch] = []
    pace = 1.0 / (character.tempo * rate)
    at_s = start_s + (onsets.s[0] - onsets.origin_s) * pace
    for first, last in _choose_visits(onsets, character, rng):
        time_s = at_s + _time_onsets(onsets, slice(first, last + 1), character, rng, pace)
        stretches.append(Stretch(first, time_s, pace))
        at_s = float(time_s[-1]) + character.restart_s * float(rng.uniform(0.7, 1.6))
    return stretches


def _choose_visits(
    onsets: Onsets, character: Character, rng: np.random.Generator
) -> Iterator[tuple[int, int]]:
    """(first, last) onset of each stretch, both included."""
    end = len(onsets.q) - 1
    first = 0
    for _ in range(MOST_STOPS if character.restarts else 0):
        stop = first + int(rng.geometric(character.restarts)) - 1
        if stop >= end:
            break
        yield first, stop
        first = _choose_return(onsets, stop, character, rng)
    yield first, end


def _choose_return(
    onsets: Onsets, stop: int, character: Character, rng: np.random.Generator
) -> int:
    """The onset from which a player who stopped goes on: the start of a bar not far back."""
    if rng.random() < character.jumps:
        bar = int(rng.choice(np.unique(onsets.bar)))
    else:
        bar = max(int(onsets.bar[stop]) - int(rng.integers(character.restart_bars + 1)), 0)
    return int(np.searchsorted(onsets.bar, bar))


def _time_onsets(
    onsets: Onsets, part: slice, character: Character, rng: np.random.Generator, pace: float
) -> npt.NDArray[np.float64]:
    """Seconds from the stretch's first onset: tempo curve, timekeeper, correction, hesitations."""
    marked = onsets.s[part] - onsets.s[part.start]
    asked = np.diff(marked) * pace * _tempo_curve(marked[:-1] * pace, onsets, part, character, rng)
    noise = rng.normal(0.0, 1.0, len(asked)) * character.timekeeper_sd_ms / 1000
    played = np.zeros(len(marked))
    late = 0.0
    for k, interval in enumerate(asked):
        wobble = max(noise[k] - character.correction * late, (SHORTEST - 1) * interval)
        late += wobble
        played[k + 1] = played[k] + interval + wobble
    halted = np.concatenate([[0.0], np.cumsum(_hesitate(len(asked), character, rng))])
    return np.asarray(played + halted)


def _tempo_curve(
    elapsed_s: npt.NDArray[np.float64],
    onsets: Onsets,
    part: slice,
    character: Character,
    rng: np.random.Generator,
) -> npt.NDArray[np.float64]:
    """By what factor each interval is stretched: a steady drift and a slow wave."""
    phase = rng.uniform(0, 2 * np.pi)
    bars = onsets.bar[part][: len(elapsed_s)] / character.rubato_bars
    wave = character.rubato * np.sqrt(2) * np.sin(2 * np.pi * bars + phase)
    drift = character.drift_percent_per_min / 100 * elapsed_s / 60
    return np.asarray(np.exp(wave - drift))


def _hesitate(
    count: int, character: Character, rng: np.random.Generator
) -> npt.NDArray[np.float64]:
    halts = rng.random(count) < character.hesitations
    lengths = character.hesitation_s * np.exp(rng.normal(0, HESITATION_SIGMA, count))
    return np.where(halts, lengths, 0.0)
