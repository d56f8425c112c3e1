"""The right foot: damper moves of a performance, as written or by habit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from engine.arrangement import Arrangement
from practice.player.character import Pedalling
from practice.player.route import Onsets, Stretch

#: A foot that slips comes up for this long.
SLIP_S = 0.12


class Times:
    """Score time to performance time along one stretch, carried on at its own pace beyond it."""

    def __init__(self, arrangement: Arrangement, onsets: Onsets, stretch: Stretch) -> None:
        part = slice(stretch.first, stretch.first + len(stretch.time_s))
        self._arrangement = arrangement
        self._marked_s = onsets.s[part]
        self._stretch = stretch
        self.from_q = float(onsets.q[part][0])
        self.to_q = float(onsets.q[part][-1])

    def __call__(self, at_q: float) -> float:
        """Seconds at which a moment of the score is reached."""
        marked = float(self._arrangement.seconds_at(at_q))
        first, last = self._marked_s[0], self._marked_s[-1]
        inside = float(np.interp(marked, self._marked_s, self._stretch.time_s))
        beyond = max(marked - last, 0.0) + min(marked - first, 0.0)
        return float(inside + beyond * self._stretch.seconds_per_s)


def find_holds(
    arrangement: Arrangement, style: str, from_q: float, to_q: float
) -> list[tuple[float, float]]:
    """[down, up] in quarters for the part of the score from one onset to another."""
    if style == "written":
        marks = [(float(p.down_q), float(p.up_q)) for p in arrangement.pedals if p.kind == "damper"]
    elif style == "legato":
        marks = [(float(b.onset_q), float(b.onset_q + b.duration_q)) for b in arrangement.bars]
    else:
        marks = []
    return [(max(down, from_q), up) for down, up in marks if up > from_q and down <= to_q]


def move_pedal(
    holds: Sequence[tuple[float, float]], at: Times, pedalling: Pedalling,
    until_s: float, rng: np.random.Generator,
) -> list[tuple[float, int]]:  # fmt: skip
    """(seconds, CC64 value) for one stretch; the foot is up after `until_s`."""
    moves: list[tuple[float, int]] = []
    held_since: float | None = None
    for k, (down_q, up_q) in enumerate(holds):
        changes = k > 0 and holds[k - 1][1] == down_q
        if held_since is None or not changes:
            held_since = at(down_q) + _waver(pedalling, rng)
            moves.append((held_since, 127))
        if k + 1 < len(holds) and holds[k + 1][0] == up_q:
            if rng.random() < pedalling.missed:
                continue
            up_s, down_s = _change(at(up_q), pedalling, rng)
            moves += [*_slip(held_since, up_s, pedalling, rng), (up_s, 0), (down_s, 127)]
            held_since = down_s
        else:
            up_s = min(max(at(up_q) + _waver(pedalling, rng), held_since + SLIP_S), until_s)
            moves += [*_slip(held_since, up_s, pedalling, rng), (up_s, 0)]
            held_since = None
    return _in_order(moves)


def _waver(pedalling: Pedalling, rng: np.random.Generator) -> float:
    return float(rng.normal(0.0, 1.0)) * pedalling.sd_ms / 1000


def _change(at_s: float, pedalling: Pedalling, rng: np.random.Generator) -> tuple[float, float]:
    up_s = at_s + pedalling.release_ms / 1000 + _waver(pedalling, rng)
    down_s = at_s + pedalling.press_ms / 1000 + _waver(pedalling, rng)
    return up_s, max(down_s, up_s + 0.04)


def _slip(
    from_s: float, to_s: float, pedalling: Pedalling, rng: np.random.Generator
) -> list[tuple[float, int]]:
    """Moments at which the foot comes up under a held pedal."""
    held_s = to_s - from_s
    if held_s < 4 * SLIP_S:
        return []
    count = int(rng.poisson(pedalling.broken_per_min * held_s / 60))
    at: npt.NDArray[np.float64] = np.sort(rng.uniform(from_s + SLIP_S, to_s - 2 * SLIP_S, count))
    apart = [float(s) for k, s in enumerate(at) if k == 0 or s - at[k - 1] > 2 * SLIP_S]
    return [move for s in apart for move in ((s, 0), (s + SLIP_S, 127))]


def _in_order(moves: list[tuple[float, int]]) -> list[tuple[float, int]]:
    """Moments made ascending, so that up and down keep their order."""
    out: list[tuple[float, int]] = []
    for at_s, value in moves:
        out.append((max(at_s, out[-1][0] + 0.005) if out else at_s, value))
    return out
