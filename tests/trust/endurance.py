"""Hours of playing: memory must not grow with what was played, nothing may become slower.

usage: python -m tests.trust.endurance [--hours H] [--real-s S] [--log FILE]
The real-time part needs Xvfb; it opens the window there and plays by the simulated pianist.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from engine.arrangement import Arrangement, whole_span
from engine.performance import KeyEvent
from engine.read import read_arrangement
from practice.clock import ManualClock
from practice.drill import Drill
from practice.environment import Environment
from practice.listen.listen import Listener
from practice.listen.sitting import Setting, Sitting
from practice.player import CHARACTERS, perform
from practice.ports.ports import PortChange
from practice.store.keeper import TakeKeeper
from tests.trust.verdict import Verdict

SCORE = Path(__file__).resolve().parents[2] / "exercises" / "salt-pans-night-shift.musicxml"
#: Of the marked tempo: more than ten notes a second, the breaths between passes included.
RATE = 1.6
MOST_MB_PER_HOUR = 5.0
WARM_UP_S = 600.0
#: A quantile at the end is worse if it is above that of the beginning by more than this share
#: and this much: the rest is the machine's, which does other things too.
WORSE_SHARE, WORSE_MS = 0.25, 1.0
QUANTILES = (0.5, 0.95, 0.99)


@dataclass(frozen=True)
class Look:
    """What was seen in one stretch of time; quantiles (50, 95, 99 %) in ms.

    Attributes:
        at_s: its end, of the player's time. notes: struck so far. memory_mb: resident.
        latency_ms: from a message handed on until a snapshot has it.
        frame_ms: the window's thread at work for a frame; frame_wall_ms: by the clock.
    """

    at_s: float
    notes: int
    memory_mb: float
    latency_ms: tuple[float, ...]
    frame_ms: tuple[float, ...] = ()
    frame_wall_ms: tuple[float, ...] = ()


class Probe:
    """Gathers times, and forgets them with each look: what measures must not grow either."""

    def __init__(self) -> None:
        self.notes = 0
        self._handed_s: deque[float] = deque()
        self._taken_s: list[float] = []
        self._latency_s: list[float] = []
        self._frame_s: list[float] = []
        self._frame_wall_s: list[float] = []

    def handed_on(self, event: KeyEvent) -> None:
        """A message goes into the listener's queue."""
        self.notes += event.data[0] & 0xF0 == 0x90 and event.data[2] > 0
        self._handed_s.append(time.perf_counter())

    def taken(self) -> None:
        """The listener has it."""
        self._taken_s.append(self._handed_s.popleft())

    def published(self) -> None:
        """All that was taken is in a snapshot."""
        now_s = time.perf_counter()
        self._latency_s += [now_s - at_s for at_s in self._taken_s]
        self._taken_s.clear()

    def drew(self, worked_s: float, took_s: float) -> None:
        """A frame was drawn."""
        self._frame_s.append(worked_s)
        self._frame_wall_s.append(took_s)

    def look(self, at_s: float) -> Look:
        """What was gathered since the last look."""
        taken = (self._latency_s, self._frame_s, self._frame_wall_s)
        self._latency_s, self._frame_s, self._frame_wall_s = [], [], []
        latency, frame, wall = (_quantiles_ms(one) for one in taken)
        return Look(at_s, self.notes, _memory_mb(), latency, frame, wall)

    @contextmanager
    def on_listener(self) -> Iterator[None]:
        """Measure all listeners meanwhile."""
        hand_on, take, publish = Listener.hand_on, Listener._take, Listener._publish

        def handing_on(listener: Listener, event: KeyEvent) -> None:
            self.handed_on(event)
            hand_on(listener, event)

        def taking(listener: Listener, item: Any) -> None:
            if isinstance(item, KeyEvent):
                self.taken()
            take(listener, item)

        def publishing(listener: Listener) -> None:
            publish(listener)
            self.published()

        replaced: dict[str, Any] = {
            "hand_on": handing_on, "_take": taking, "_publish": publishing
        }  # fmt: skip
        for name, new in replaced.items():
            setattr(Listener, name, new)
        try:
            yield
        finally:
            for name, old in (("hand_on", hand_on), ("_take", take), ("_publish", publish)):
                setattr(Listener, name, old)


def _quantiles_ms(times_s: list[float]) -> tuple[float, ...]:
    if not times_s:
        return ()
    return tuple(round(float(q) * 1000, 3) for q in np.quantile(times_s, QUANTILES))


def _memory_mb() -> float:
    """Resident memory of this process now (Linux)."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


# accelerated


def endure_fast(hours: float, look_every_s: float = 600.0) -> list[Look]:
    """So many hours at the keyboard, as fast as they can be heard, through all threads."""
    arrangement, probe, clock = read_arrangement(SCORE), Probe(), ManualClock()
    looks: list[Look] = []
    with TemporaryDirectory() as folder, probe.on_listener():
        sitting = _sit_down(arrangement, clock, Path(folder))
        rng = np.random.default_rng(1)
        while clock.now_s() < hours * 3600.0:
            _play_once(sitting, arrangement, clock, rng)
            if clock.now_s() >= look_every_s * (len(looks) + 1):
                looks.append(probe.look(clock.now_s()))
        sitting.stop()
    return looks


def _sit_down(arrangement: Arrangement, clock: ManualClock, folder: Path) -> Sitting:
    def now() -> datetime:
        return datetime.now(UTC)

    drill = Drill(whole_span(arrangement))
    setting = Setting(arrangement, str(SCORE), drill, clock, now, "demo", keeps_all=False)
    sitting = Sitting(setting, TakeKeeper(folder / "takes.db", now))
    sitting.start()
    sitting.port_changed(PortChange("endless", True, 0.0))
    return sitting


def _play_once(
    sitting: Sitting, arrangement: Arrangement, clock: ManualClock, rng: np.random.Generator
) -> None:
    while sitting.snapshot().state not in ("waiting", "rest"):
        clock.move_to(clock.now_s() + 0.02)
        time.sleep(0.001)
    start_s = clock.now_s() + 1.0
    for event in perform(arrangement, CHARACTERS["demo"], rng, start_s=start_s, rate=RATE):
        clock.move_to(event.time_s)
        sitting.hand_on(event)
        # No player outruns the program: neither do we.
        while sitting.listener._queue.qsize() > 8 or sitting._judge._queue.qsize() > 1:
            time.sleep(0.0005)


# in real time, with the window


def endure_real(seconds: float, log: Path) -> list[Look]:
    """So long in real time, with the window on a screen of its own, in a process of its own."""
    with TemporaryDirectory() as folder, screen() as display:
        command = [sys.executable, "-m", "tests.trust.endurance", "--child", str(log)]
        command += ["--real-s", str(seconds), "--folder", folder]
        env = {**os.environ, "DISPLAY": display, "SDL_VIDEODRIVER": "x11"}
        env |= {"SDL_AUDIODRIVER": "dummy"}
        subprocess.run(command, env=env, check=True, cwd=SCORE.parents[1])
    return [_read_look(line) for line in log.read_text("utf-8").splitlines()]


def _read_look(line: str) -> Look:
    told = json.loads(line)
    return Look(**{k: tuple(v) if isinstance(v, list) else v for k, v in told.items()})


@contextmanager
def screen() -> Iterator[str]:
    """An X server without a screen; its display's name."""
    ready, told = os.pipe()
    command = ["Xvfb", "-displayfd", str(told), "-screen", "0", "1600x900x24", "-nolisten", "tcp"]
    server = subprocess.Popen(command, pass_fds=(told,), stderr=subprocess.DEVNULL)
    os.close(told)
    try:
        with open(ready, encoding="ascii") as line:
            yield f":{line.readline().strip()}"
    finally:
        server.terminate()
        server.wait(10)


def play_in_window(seconds: float, log: Path, folder: Path, look_every_s: float = 60.0) -> int:
    """In the child: `undersong play` itself, looked at from inside; a line of `log` a minute."""
    from practice.cli import main as undersong
    from practice.window.screen import Screen

    probe, start_s, looks = Probe(), time.monotonic(), [0]
    step: Callable[[Screen], bool] = Screen.step

    def timed_step(screen: Screen) -> bool:
        worked_s, took_s = time.thread_time(), time.perf_counter()
        going_on = step(screen)
        probe.drew(time.thread_time() - worked_s, time.perf_counter() - took_s)
        now_s = time.monotonic() - start_s
        if now_s >= look_every_s * (looks[0] + 1):
            looks[0] += 1
            with log.open("a", encoding="utf-8") as out:
                out.write(json.dumps(asdict(probe.look(now_s))) + "\n")
        return going_on and now_s < seconds

    Screen.step = timed_step  # type: ignore[method-assign]
    command = ["play", str(SCORE), "--player", "demo", "--tempo", f"{RATE:.0%}"]
    with probe.on_listener():
        return int(undersong([*command, "--data", str(folder)], Environment()))


# what came of it


def weigh(name: str, looks: list[Look], warm_up_s: float = WARM_UP_S) -> Verdict:
    """Growth of memory and the quantiles of the first and last stretch, after the warm-up."""
    warm = [look for look in looks if look.at_s >= warm_up_s]
    if len(warm) < 3:
        return Verdict(name, 0, 0, "too short to tell")
    tenth = max(1, min(10, len(warm) // 3))
    growth = memory_growth(warm)
    told, worse = [f"{growth:+.1f} MB an hour"], growth >= MOST_MB_PER_HOUR
    for what in ("latency_ms", "frame_ms"):
        first, last = (_middle(part, what) for part in (warm[:tenth], warm[-tenth:]))
        if first is None or last is None:
            continue
        worse = worse or bool(np.any(last > first * (1 + WORSE_SHARE) + WORSE_MS))
        first_q, last_q = ("/".join(f"{q:.1f}" for q in side) for side in (first, last))
        told.append(f"{what.removesuffix('_ms')} 50/95/99 %: {first_q} ms, at the end {last_q}")
    notes = looks[-1].notes
    return Verdict(f"{name}, notes", notes, 0 if worse else notes, "; ".join(told))


def memory_growth(looks: list[Look]) -> float:
    """MB an hour: the median of the slopes between all pairs of looks (Theil and Sen)."""
    at_h = np.array([look.at_s / 3600.0 for look in looks])
    memory = np.array([look.memory_mb for look in looks])
    first, second = np.triu_indices(len(looks), 1)
    return float(np.median((memory[second] - memory[first]) / (at_h[second] - at_h[first])))


def _middle(looks: list[Look], what: str) -> np.ndarray | None:
    rows = [getattr(look, what) for look in looks if getattr(look, what)]
    return np.median(np.array(rows), axis=0) if rows else None


def endure_all(hours: float, real_s: float, log: Path | None = None) -> list[Verdict]:
    """Both; the real-time one where there is Xvfb."""
    verdicts = [weigh(f"{hours:g} h, accelerated", endure_fast(hours))] if hours else []
    if real_s and shutil.which("Xvfb"):
        with TemporaryDirectory() as folder:
            looks = endure_real(real_s, log or Path(folder) / "looks.jsonl")
        verdicts.append(weigh(f"{real_s / 60:g} min, window", looks))
    return verdicts


def main() -> int:
    """Endure, and print the looks."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=0.0, help="accelerated")
    parser.add_argument("--real-s", type=float, default=0.0, help="in real time, with the window")
    parser.add_argument("--log", type=Path, help="where the looks of real time are kept")
    parser.add_argument("--child", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.child:
        return play_in_window(options.real_s, options.child, options.folder)
    for verdict in endure_all(options.hours, options.real_s, options.log):
        print(verdict)
    return 0


if __name__ == "__main__":
    sys.exit(main())
