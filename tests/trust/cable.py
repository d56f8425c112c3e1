"""The cable pulled in mid-note and put back, on real ports: JACK, devices in their own processes.

usage: python -m tests.trust.cable [--times N]
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from engine.arrangement import Span
from engine.performance import NotePairer
from engine.read import read_arrangement
from practice.clock import SystemClock
from practice.drill import Drill
from practice.listen.sitting import Setting, Sitting
from practice.player import CHARACTERS, perform
from practice.ports import ports
from practice.snapshot import Command
from practice.store.keeper import TakeKeeper
from practice.store.store import Store
from tests.practice.jack_server import running_server, why_not
from tests.trust.verdict import Verdict

NAME = "unplugged in mid-note, real ports"
SCORE = Path(__file__).resolve().parents[2] / "exercises" / "brine-pump.musicxml"
SPAN = Span(0, 1)
#: Whatever is waited for has come by then, however busy the machine is.
DEADLINE_S = 20.0
MOST_GROWTH_MB = 5.0
#: Of the notes of a steady performance that come after it all.
LEAST_FOLLOWED = 0.95


class Device:
    """A keyboard with a cable."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.trust.device"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip

    def tell(self, order: str) -> str:
        """Have it done; what it says besides."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(order + "\n")
        self._process.stdin.flush()
        said = self._process.stdout.readline()
        while said and not said.endswith("done\n"):
            said += self._process.stdout.readline()
        return said

    def close(self) -> None:
        """End it."""
        self._process.kill()
        self._process.wait(10)


class Bench:
    """A sitting, with real ports, and two devices to plug in."""

    def __init__(self, sitting: Sitting, one: Device, other: Device) -> None:
        self.sitting, self.one, self.other = sitting, one, other

    def wait(self, what: str, seen: Callable[[], bool]) -> None:
        """Wait until something is so. Raises TimeoutError(what)."""
        until_s = time.monotonic() + DEADLINE_S
        while not seen():
            if time.monotonic() > until_s:
                raise TimeoutError(what)
            time.sleep(0.005)

    def wait_for_port(self, name: str) -> None:
        """Until this port is the one heard; "" until none is."""

        def seen() -> bool:
            now = self.sitting.snapshot()
            return now.connected and name in now.port if name else not now.connected

        self.wait(f"port {name!r}", seen)

    def strike(self, device: Device, pitch: int) -> None:
        """A key goes down and is heard. JACK drops what it is sent before it has connected."""
        until_s = time.monotonic() + DEADLINE_S
        while pitch not in self.keys_down():
            if time.monotonic() > until_s:
                raise TimeoutError(f"key {pitch}")
            device.tell(f"send 90{pitch:02x}40")
            time.sleep(0.05)

    def keys_down(self) -> tuple[int, ...]:
        """What the session takes for held."""
        take = self.sitting.listener._session._take
        return take.keys_down if take else ()

    def pull(self, device: Device) -> None:
        """The cable comes out; all keys must come up."""
        device.tell("unplug")
        self.wait("keys to come up", lambda: not self.keys_down())


def _plain(bench: Bench, pitch: int) -> None:
    bench.one.tell("plug Upright")
    bench.wait_for_port("Upright")
    bench.strike(bench.one, pitch)
    bench.pull(bench.one)
    bench.wait_for_port("")


def _in_its_place(bench: Bench, pitch: int) -> None:
    """Another device comes where the first was pulled."""
    bench.one.tell("plug Upright")
    bench.wait_for_port("Upright")
    bench.strike(bench.one, pitch)
    bench.other.tell("plug Stage")
    bench.pull(bench.one)
    bench.wait_for_port("Stage")
    bench.strike(bench.other, pitch + 1)
    bench.pull(bench.other)
    bench.wait_for_port("")


def _twins(bench: Bench, pitch: int) -> None:
    """The same name twice; the one that is heard goes, its twin stays."""
    bench.one.tell("plug Upright")
    bench.wait_for_port("Upright")
    bench.other.tell("plug Upright")
    bench.strike(bench.one, pitch)
    bench.pull(bench.one)
    bench.wait_for_port("Upright")
    bench.strike(bench.other, pitch + 1)
    bench.pull(bench.other)
    bench.wait_for_port("")


def _chatter(bench: Bench, pitch: int) -> None:
    """Clock, sensing, exclusive and half messages in between, then a key, then the cable."""
    bench.one.tell("plug Upright")
    bench.wait_for_port("Upright")
    bench.one.tell("send " + "f8 fe " * 200 + "f0" + "55" * 400 + "f7 b0 4001 90")
    bench.strike(bench.one, pitch)
    bench.pull(bench.one)
    bench.wait_for_port("")


CASES = (_in_its_place, _twins, _plain, _chatter, _plain)


@contextmanager
def _bench(folder: Path) -> Iterator[Bench]:
    def now() -> datetime:
        return datetime.now(UTC)

    from practice.ports.rtmidi_driver import RtmidiDriver

    setting = Setting(
        read_arrangement(SCORE), str(SCORE), Drill(SPAN), SystemClock(), now, keeps_all=False
    )
    with ExitStack() as ending:
        sitting = Sitting(setting, TakeKeeper(folder / "takes.db", now))
        sitting.start()
        ending.callback(sitting.stop)
        devices = Device(), Device()
        for device in devices:
            ending.callback(device.close)
        sitting.connect(RtmidiDriver())
        yield Bench(sitting, *devices)


def pull_many(times: int, warm_up: int = 20, follow: bool = True) -> Verdict:
    """In a process whose environment names a JACK server: pull the cable so many times."""
    ports.WATCH_S = 0.05
    troubles: list[str] = []
    with TemporaryDirectory() as folder:
        with _bench(Path(folder)) as bench:
            before_mb = 0.0
            for number in range(times):
                before_mb = _memory_mb() if number == min(warm_up, times - 1) else before_mb
                try:
                    CASES[number % len(CASES)](bench, 40 + number % 30)
                except TimeoutError as error:
                    troubles.append(f"{CASES[number % len(CASES)].__name__}: no {error}")
                    break
            grown_mb = _memory_mb() - before_mb
            followed = _followed_afterwards(bench) if follow and not troubles else 1.0
        stuck = _stuck_in_store(Path(folder) / "takes.db")
    troubles += [f"grew by {grown_mb:.1f} MB"] * (grown_mb > MOST_GROWTH_MB)
    troubles += [f"{followed:.0%} of later notes followed"] * (followed < LEAST_FOLLOWED)
    troubles += [f"{stuck} notes without an end"] * bool(stuck)
    told = f"nothing; memory {grown_mb:+.1f} MB, later notes followed {followed:.0%}"
    return Verdict(NAME, times, 0 if troubles else times, "; ".join(troubles) or told)


def _followed_afterwards(bench: Bench) -> float:
    """The share of a steady performance's notes that are right, played through the cable."""
    bench.one.tell("plug Upright")
    bench.wait_for_port("Upright")
    before = len(bench.sitting.snapshot().passes)
    arrangement = bench.sitting.snapshot().arrangement
    time.sleep(1.0)
    rng = np.random.default_rng(0)
    events = perform(arrangement, CHARACTERS["steady"], rng, span=SPAN, start_s=0.0)
    start_s = time.monotonic()
    for event in events:
        time.sleep(max(0.0, start_s + event.time_s - time.monotonic()))
        bench.one.tell(f"send {event.data.hex()}")
    bench.sitting.tell(Command("stop"))
    bench.wait("a pass", lambda: len(bench.sitting.snapshot().passes) > before)
    strokes = sum(e.data[0] & 0xF0 == 0x90 and e.data[2] > 0 for e in events)
    last = bench.sitting.snapshot().passes[-1]
    return sum(f.what == "right" for f in last.findings) / strokes


def _stuck_in_store(path: Path) -> int:
    """Notes in the kept takes that never end."""
    with Store(path) as store:
        stuck = 0
        for take in store.takes():
            pairer = NotePairer()
            for event in store.events(take.number):
                pairer.hear(event)
            stuck += len(pairer.keys_down)
        return stuck


def _memory_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def unplug_many(times: int, follow: bool = True) -> Verdict:
    """The same with a JACK server of its own, in a process that is told of it."""
    if why := why_not():
        return Verdict(NAME, 0, 0, why)
    command = [sys.executable, "-m", "tests.trust.cable", "--child", "--times", str(times)]
    command += [] if follow else ["--no-pass"]
    root = Path(__file__).resolve().parents[2]
    with running_server() as env:
        done = subprocess.run(command, env=env, cwd=root, capture_output=True, text=True)
    told = done.stdout.strip().splitlines()
    if done.returncode or not told:
        return Verdict(NAME, times, 0, f"ended with status {done.returncode}: {done.stderr[-300:]}")
    tried, survived, lost = told[-1].split("\t")
    return Verdict(NAME, int(tried), int(survived), lost)


def main() -> int:
    """Pull, and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=200)
    parser.add_argument("--no-pass", action="store_true", help="leave out the pass afterwards")
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.child:
        verdict = pull_many(options.times, follow=not options.no_pass)
        print(f"{verdict.tried}\t{verdict.survived}\t{verdict.lost}")
    else:
        print(unplug_many(options.times, not options.no_pass))
    return 0


if __name__ == "__main__":
    sys.exit(main())
