"""The delay from the computer to the ear, found by tapping along with a click.

What is found is where this player feels the click: the delay of card, loudspeaker and air, less
what most people come early by when they tap (some 20 to 80 ms: Repp, "Sensorimotor
synchronization", 2005, from memory). So it is the delay that sets what they play *with* a click
upon the beat, which is what it is used for.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from math import comb

import numpy as np

from engine.performance import KeyEvent
from engine.tone.click import BEAT, PERCUSSION_CHANNEL
from practice.clock import Clock
from practice.ports.ports import Driver, Inlet
from practice.ports.stamps import StampClock
from practice.sound.accompany import Accompanist
from practice.sound.instrument import Instrument

#: So many clicks, so far apart; the first ones are for finding the beat.
CLICKS, APART_S, TO_LISTEN = 28, 0.6, 4
#: Fewer taps on the beat tell nothing.
FEWEST = 12
CONFIDENCE = 0.95
_LEVEL, _BREATH_S = 100, 0.5


@dataclass(frozen=True, slots=True)
class Tapped:
    """The median delay of taps after their clicks, with its 95 % interval, seconds."""

    delay_s: float
    low_s: float
    high_s: float
    taps: int


def find_delay(clicks_s: Sequence[float], taps_s: Sequence[float]) -> Tapped | None:
    """What taps along with clicks tell, None where too few of them do.

    Each tap belongs to the nearest click; of two taps on one click the nearer counts. A delay of
    half the clicks' distance or more cannot be told from coming early.
    """
    clicks = np.asarray(clicks_s, dtype=float)[TO_LISTEN:]
    nearest: dict[int, float] = {}
    for tap_s in taps_s:
        k = int(np.argmin(np.abs(clicks - tap_s)))
        late_s = float(tap_s - clicks[k])
        if abs(late_s) < APART_S / 2 and abs(late_s) < abs(nearest.get(k, np.inf)):
            nearest[k] = late_s
    late = np.sort(np.array(list(nearest.values())))
    if len(late) < FEWEST:
        return None
    cut = _rank_of_median(len(late))
    return Tapped(float(np.median(late)), float(late[cut]), float(late[-1 - cut]), len(late))


def _rank_of_median(n: int) -> int:
    """How many of n sorted values lie outside the median's interval on either side: the binomial
    interval, which asks nothing of the distribution (Conover, Practical Nonparametric Statistics,
    3.2)."""
    below, k = 0.0, 0
    while (below := below + comb(n, k) / 2**n) <= (1 - CONFIDENCE) / 2:
        k += 1
    return max(k - 1, 0)


def tap_along(instrument: Instrument, driver: Driver, name: str, clock: Clock) -> Tapped | None:
    """Click, hear what is tapped on the keyboard of that name, and say how late it comes.

    Args:
        instrument: opened with no delay to make up for.

    Raises:
        PortError: the keyboard cannot be opened.
    """
    events: list[KeyEvent] = []
    port = driver.open_input(name, Inlet(clock, StampClock(driver.grain_s(name)), events.append))
    accompanist = Accompanist(instrument, clock)
    try:
        first_s = clock.now_s() + _BREATH_S + instrument.lead_s
        clicks = [first_s + k * APART_S for k in range(CLICKS)]
        on, off = 0x90 | PERCUSSION_CHANNEL, 0x80 | PERCUSSION_CHANNEL
        accompanist.add(
            (at_s + held_s, bytes([kind, BEAT, level]))
            for at_s in clicks
            for held_s, kind, level in ((0.0, on, _LEVEL), (0.05, off, 64))
        )
        clock.wait(threading.Event(), clicks[-1] + APART_S - clock.now_s())
    finally:
        accompanist.close()
        port.close()
    struck = [e.time_s for e in events if e.data[0] & 0xF0 == 0x90 and e.data[2]]
    return find_delay(clicks, struck)
