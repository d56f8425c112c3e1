"""The power fails: what a process wrote is replayed up to a random moment, and what the system had
not yet been told to make safe is kept, dropped, torn or reordered.

The writes are recorded with strace. The model is that of POSIX, and so harder than most file
systems: until a file is synced, each of its sectors written since may be there or not, whatever
the order; until a folder is synced, so may each name made or removed in it.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from engine.errors import UndersongError
from practice.store.store import Store
from tests.trust.kept_typist import message
from tests.trust.verdict import Verdict

NAME = "the power failed while keeping"
SECTOR = 512
MOST_LOST_S = 1.0
#: Sittings, takes in each, messages in each: some seconds, every file made and removed again.
TYPED = (3, 2, 400)
CALLS = "openat,close,write,pwrite64,ftruncate,fsync,fdatasync,unlink,rename"

Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Call:
    """One system call that went well. `name` of a file where it has one; bytes of a write."""

    at_s: float
    kind: str
    name: str = ""
    fd: int = -1
    data: bytes = b""
    offset: int = 0
    creates: bool = False


_LINE = re.compile(r"^(\d+)\s+(\d+\.\d+) (.*)$")
_RESUMED = re.compile(r"^<\.\.\. \w+ resumed>(.*)$")
_CALL = re.compile(r"^(\w+)\((.*)\)\s+= (-?\d+)")


def why_not_recorded() -> str:
    """Why writes cannot be recorded here, "" where they can."""
    if shutil.which("strace") is None:
        return "strace missing: install it to replay what was written"
    tried = subprocess.run(["strace", "-o", "/dev/null", "true"], capture_output=True, check=False)
    return "" if tried.returncode == 0 else "this system lets nobody trace another program"


def record(folder: Path, typed: Sequence[int] = TYPED) -> list[Call]:
    """Let the typist keep takes in `folder` and record its calls, in the order of their ends."""
    trace = folder / "trace.txt"
    command = ["strace", "-f", "-ttt", "-xx", "-s", "1000000", "-e", f"trace={CALLS}"]
    command += ["-o", str(trace), sys.executable, "-m", "tests.trust.kept_typist"]
    command += [str(folder / "takes.db"), *map(str, typed)]
    root = Path(__file__).resolve().parents[2]
    subprocess.run(command, stdout=subprocess.DEVNULL, cwd=root, check=True)
    with trace.open(encoding="ascii") as lines:
        return list(read_trace(lines))


def read_trace(lines: Iterable[str]) -> Iterator[Call]:
    """Calls from strace's text; those it had to print in two halves are put together."""
    begun: dict[str, str] = {}
    for line in lines:
        found = _LINE.match(line)
        if not found:
            continue
        thread, at_s, text = found.groups()
        if text.endswith("<unfinished ...>"):
            begun[thread] = text.removesuffix("<unfinished ...>").rstrip()
            continue
        if resumed := _RESUMED.match(text):
            text = begun.pop(thread, "") + resumed.group(1)
        if (call := _CALL.match(text)) and int(call.group(3)) >= 0:
            yield _call(float(at_s), *call.groups())


def _call(at_s: float, kind: str, arguments: str, result: str) -> Call:
    told = [unquoted(a) for a in re.findall(r'"(?:\\x[0-9a-f]{2})*"', arguments)]
    last = arguments.rpartition(", ")[2]
    if kind == "openat":
        name = told[0].decode("utf-8", "surrogateescape")
        return Call(at_s, kind, name, int(result), creates="O_CREAT" in arguments)
    if kind in ("unlink", "rename"):
        return Call(at_s, kind, told[0].decode("utf-8", "surrogateescape"))
    fd = int(arguments.partition(",")[0])
    if kind in ("write", "pwrite64"):
        offset = int(last) if kind == "pwrite64" else -1
        return Call(at_s, kind, fd=fd, data=told[0][: int(result)], offset=offset)
    return Call(at_s, kind, fd=fd, offset=int(last) if kind == "ftruncate" else 0)


def unquoted(text: str) -> bytes:
    r"""The bytes of strace's "\x61\x62"."""
    return bytes.fromhex(text.strip('"').replace("\\x", ""))


@dataclass
class Body:
    """A file: what is safe, and the writes and cuts (data None) since, in order."""

    safe: bytes = b""
    since: list[tuple[int, bytes | None]] = field(default_factory=list)

    def sync(self) -> None:
        """All of it is safe."""
        self.safe, self.since = self.left_by(self.since), []

    def left_by(self, done: Sequence[tuple[int, bytes | None]]) -> bytes:
        """What is there when only these were done since."""
        out = bytearray(self.safe)
        for offset, data in done:
            if data is None:
                del out[offset:]
            out.extend(bytes(max(0, offset + len(data or b"") - len(out))))
            if data is not None:
                out[offset : offset + len(data)] = data
        return bytes(out)

    def after_failure(self, rng: Rng) -> bytes:
        """What may be there when the power has failed."""
        share = float(rng.choice([0.0, 0.1, 0.5, 0.9, 1.0]))
        if rng.random() < 0.3:  # in order up to one moment, the last write torn
            return self.left_by(_torn(self.since[: int(rng.integers(0, len(self.since) + 1))], rng))
        sectors = [piece for one in self.since for piece in _sectors(*one)]
        return self.left_by([piece for piece in sectors if rng.random() < share])


def _sectors(offset: int, data: bytes | None) -> Iterator[tuple[int, bytes | None]]:
    if data is None:
        yield offset, None
        return
    edges = [offset, *range((offset // SECTOR + 1) * SECTOR, offset + len(data), SECTOR)]
    for start, end in zip(edges, [*edges[1:], offset + len(data)], strict=True):
        yield start, data[start - offset : end - offset]


def _torn(done: list[tuple[int, bytes | None]], rng: Rng) -> list[tuple[int, bytes | None]]:
    if not done or done[-1][1] is None:
        return done
    pieces = list(_sectors(*done[-1]))
    return [*done[:-1], *(p for p in pieces if rng.random() < 0.5)]


class Disk:
    """A folder as the disk has it: bodies, names made safe, and names made or removed since."""

    def __init__(self, folder: Path) -> None:
        self._folder = str(folder)
        self._names: dict[str, Body] = {}
        self._safe_names: dict[str, Body] = {}
        self._open: dict[int, Body | None] = {}

    def do(self, call: Call) -> None:
        """One call more."""
        if call.kind == "openat":
            self._open[call.fd] = self._opened(call)
        elif call.kind == "close":
            self._open.pop(call.fd, None)
        elif call.kind == "unlink":
            self._names.pop(call.name, None)
        elif call.fd in self._open:
            self._do_to_file(call, self._open[call.fd])

    def _opened(self, call: Call) -> Body | None:
        """The file's body; None for the folder itself."""
        if call.name == self._folder:
            return None
        if call.name.startswith(self._folder) and call.creates:
            return self._names.setdefault(call.name, Body())
        return self._names.get(call.name, Body())

    def _do_to_file(self, call: Call, body: Body | None) -> None:
        syncs = call.kind in ("fsync", "fdatasync")
        if body is None:
            self._safe_names = dict(self._names) if syncs else self._safe_names
        elif syncs:
            body.sync()
        elif call.kind == "ftruncate":
            body.since.append((call.offset, None))
        elif call.kind == "pwrite64":
            body.since.append((call.offset, call.data))

    def after_failure(self, rng: Rng, into: Path) -> None:
        """Write what may be there into another folder. What is kept in shared memory is noise."""
        share = float(rng.choice([0.0, 0.5, 1.0]))
        for name in {*self._names, *self._safe_names}:
            now, safe = self._names.get(name), self._safe_names.get(name)
            body = now if now is safe or rng.random() < share else safe
            if body is None:
                continue
            noise = rng.bytes(32768) if rng.random() < 0.5 else b""
            left = noise if name.endswith("-shm") else body.after_failure(rng)
            (into / Path(name).name).write_bytes(left)


def fail_at_random(tries: int, seed: int = 1, typed: Sequence[int] = TYPED) -> Verdict:
    """Record once, then fail at `tries` random moments."""
    if why := why_not_recorded():
        return Verdict(NAME, 0, 0, why)
    with TemporaryDirectory() as folder:
        return fail_while(Path(folder), record(Path(folder), typed), tries, seed)


def fail_while(
    folder: Path, calls: Sequence[Call], tries: int, seed: int = 1, most_s: float = MOST_LOST_S
) -> Verdict:
    """Fail at `tries` moments of what was recorded in `folder`; at most `most_s` may be lost."""
    rng = np.random.default_rng(seed)
    losses = list(_failures(folder, calls, sorted(_moments(calls, tries, rng)), rng))
    told = sorted({loss for loss in losses if isinstance(loss, str)})
    worst_s = max((loss for loss in losses if not isinstance(loss, str)), default=0.0)
    survived = sum(not isinstance(loss, str) and loss <= most_s for loss in losses)
    return Verdict(NAME, tries, survived, "; ".join([f"at most {worst_s:.2f} s of notes", *told]))


def fail_afterwards(folder: Path, calls: Sequence[Call], tries: int) -> list[float | str]:
    """Seconds of notes lost, or what went wrong, each time it fails when all had been done."""
    return list(_failures(folder, calls, [len(calls) - 1] * tries, np.random.default_rng(1)))


def _moments(calls: Sequence[Call], tries: int, rng: Rng) -> list[int]:
    """Numbers of calls after which the power fails: half drawn among the calls, half in time. The
    program's own loading is left out."""
    first = next(i for i, c in enumerate(calls) if c.name.endswith("takes.db"))
    times_s = np.array([c.at_s for c in calls])
    among = rng.integers(first, len(calls), tries - tries // 2)
    in_time = np.searchsorted(times_s, rng.uniform(times_s[first], times_s[-1], tries // 2))
    return [int(at) for at in (*among, *in_time)]


def _failures(
    folder: Path, calls: Sequence[Call], moments: Sequence[int], rng: Rng
) -> Iterator[float | str]:
    """Seconds of notes lost at each moment, or in words what else went wrong."""
    disk, handed_s = Disk(folder), list[float]()
    done = 0
    for at in moments:
        for call in calls[done : at + 1]:
            disk.do(call)
            if call.kind == "write" and call.fd == 1:
                handed_s.append(call.at_s)
        done = at + 1
        yield _lost(disk, handed_s, calls[at].at_s, rng)


def _lost(disk: Disk, handed_s: Sequence[float], now_s: float, rng: Rng) -> float | str:
    with TemporaryDirectory() as left:
        disk.after_failure(rng, Path(left))
        try:
            kept = _kept(Path(left) / "takes.db")
        except UndersongError as error:
            return str(error).replace(left, "")
    if kept != [message(n).data for n in range(len(kept))]:
        return "what was kept is not what was handed on"
    return now_s - handed_s[len(kept)] if len(kept) < len(handed_s) else 0.0


def _kept(path: Path) -> list[bytes]:
    with Store(path) as store:
        (sound,) = store.query("PRAGMA integrity_check")[0]
        if sound != "ok":
            raise UndersongError(str(sound))
        store.recover(datetime.now(UTC) + timedelta(days=1))
        return [e.data for take in store.takes() for e in store.events(take.number)]
