"""What happens to the store when something goes wrong: each fault made, and what the program says.

    python -m tests.bench.store_faults

The faults are real ones, made outside the program: a killed process, two processes at once, a disk
of two megabytes (Linux, as root; elsewhere a limit set to the database), a folder without leave to
write, a store of a newer program, bytes written over a page, a clock set back, another time zone,
the hours of the change of summer time. After each, what was kept before is counted again.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from practice.cli import main as undersong
from practice.environment import Environment
from practice.store.store import ABANDONED_S, Store
from tests.practice.test_store_care import damage, keep_take, leaf_page_of_events

ROOT = Path(__file__).resolve().parents[2]
SCORE = str(ROOT / "exercises" / "evaporation.musicxml")
DEMO = ("play", SCORE, "--player", "demo", "--no-window", "--speed")
PLAY = (*DEMO, "40", "--bars", "1-4")
#: Root may write anywhere, unless it gives that right up.
AS_ANYONE = ("setpriv", "--inh-caps=-dac_override", "--bounding-set=-dac_override")
NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


def say(*words: str, folder: Path, now: datetime = NOON) -> list[str]:
    """Run the command here; what it said, and how it ended."""
    out, err = io.StringIO(), io.StringIO()
    env = Environment(stdout=out, stderr=err, variables={}, now=lambda: now)
    status = undersong([*words, "--data", str(folder)], env)
    said = [line for line in (out.getvalue() + err.getvalue()).splitlines() if line.strip()]
    return [*said, f"exit {int(status)}"]


def start(*words: str, folder: Path, first: tuple[str, ...] = ()) -> subprocess.Popen[str]:
    """The command in a process of its own. Args: first: words before it."""
    line = [*first, sys.executable, "-m", "practice.cli", *words, "--data", str(folder)]
    return subprocess.Popen(
        line, cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )


def played(folder: Path, times: int = 2) -> Path:
    """A folder with some takes in it."""
    for _ in range(times):
        start(*PLAY, folder=folder).communicate()
    return folder


def kept(folder: Path) -> str:
    """Takes and notes that can be read back from the raw events."""
    with Store(folder / "takes.db") as store:
        takes = store.takes()
        notes = sum(_note_ons(store, take.number) for take in takes)
    return f"kept: {len(takes)} takes, {notes} note-ons read back"


def _note_ons(store: Store, take: int) -> int:
    return sum(e.data[0] & 0xF0 == 0x90 and e.data[2] > 0 for e in store.events(take))


def two_programs(folder: Path) -> Iterator[str]:
    """Two programs at once."""
    both = [start(*PLAY, folder=folder) for _ in range(2)]
    for one in both:
        said, _ = one.communicate()
        yield _mentioning(said, "take|kept|pass")
    yield kept(folder)
    yield from say("store", "--check", folder=folder)


def killed(folder: Path) -> Iterator[str]:
    """A program killed while it plays."""
    process = start(*DEMO, "1", folder=folder)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and _events(folder) < 3:
        time.sleep(0.1)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    yield f"killed with {_events(folder)} parts written"
    time.sleep(ABANDONED_S + 1)
    said, _ = start(*PLAY, folder=folder).communicate()
    yield f"started again after {ABANDONED_S:.0f} s: " + _mentioning(said, "Recovered")
    yield kept(folder)


def _events(folder: Path) -> int:
    if not (folder / "takes.db").exists():
        return 0
    with contextlib.closing(sqlite3.connect(folder / "takes.db")) as db:
        try:
            return int(db.execute("SELECT count(*) FROM events").fetchone()[0])
        except sqlite3.Error:
            return 0


def full_disk(folder: Path) -> Iterator[str]:
    """A full disk."""
    played(folder)
    before = kept(folder)
    small = folder / "small"
    small.mkdir()
    size = (folder / "takes.db").stat().st_size + 400_000
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size // 1024}k", "none", str(small)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        yield "no leave to make a small disk here: see test_a_full_disk_keeps_what_was_there"
        return
    try:
        with contextlib.closing(sqlite3.connect(folder / "takes.db")) as db:
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        shutil.copy(folder / "takes.db", small)
        yield f"before: {before}"
        process = start(*DEMO, "4", folder=small)
        yield f"filled while {_wait_for_take(small)} is played; {_fill(small)} bytes free"
        said, _ = process.communicate()
        yield "played on: " + _mentioning(said, "full|kept|store|cannot")
        said, _ = start(*PLAY, folder=small).communicate()
        yield "started anew: " + _mentioning(said, "full|kept|store|cannot")
        (small / "other").unlink(missing_ok=True)
        yield "with room again, " + kept(small)
        yield from say("store", "--check", folder=small)
    finally:
        subprocess.run(["umount", str(small)], check=False)


def _wait_for_take(folder: Path) -> str:
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        with Store(folder / "takes.db") as store:
            open_takes = [t for t in store.takes() if t.state == "open"]
        if open_takes:
            return f"take {open_takes[0].number}"
        time.sleep(0.1)
    return "nothing"


def _fill(folder: Path) -> int:
    """Write until nothing more goes in; what is free then."""
    with contextlib.suppress(OSError), (folder / "other").open("wb", buffering=0) as file:
        while True:
            file.write(b"x" * 4096)
    return shutil.disk_usage(folder).free


def read_only(folder: Path) -> Iterator[str]:
    """A folder that may not be written to."""
    played(folder)
    with contextlib.closing(sqlite3.connect(folder / "takes.db")) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    before = (folder / "takes.db").read_bytes()
    for path in (*folder.rglob("*"), folder):
        path.chmod(0o555 if path.is_dir() else 0o444)
    first = AS_ANYONE if os.getuid() == 0 else ()
    for words in (PLAY, ("progress", SCORE), ("takes",)):
        said, _ = start(*words, folder=folder, first=first).communicate()
        yield f"{words[0]}: " + _mentioning(said, "writ|kept|cannot|read")
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)
    same = (folder / "takes.db").read_bytes() == before
    yield f"the file is {'as it was' if same else 'CHANGED'}"
    yield kept(folder)


def newer(folder: Path) -> Iterator[str]:
    """A store written by a newer program."""
    played(folder, 1)
    with contextlib.closing(sqlite3.connect(folder / "takes.db")) as db:
        (version,) = db.execute("PRAGMA user_version").fetchone()
        db.execute(f"PRAGMA user_version = {version + 1}")
    yield from say("takes", folder=folder)
    with contextlib.closing(sqlite3.connect(folder / "takes.db")) as db:
        db.execute(f"PRAGMA user_version = {version}")
    yield "after the update that knows it, " + kept(folder)


def damaged(folder: Path) -> Iterator[str]:
    """A page of the file overwritten."""
    path = folder / "takes.db"
    with Store(path) as store:
        for hour in range(40):
            keep_take(store, NOON + timedelta(hours=hour))
    with contextlib.closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    yield "before: " + kept(folder)
    damage(path, leaf_page_of_events(path))
    yield from say("store", "--check", folder=folder)
    yield from say("store", "--salvage", str(folder / "salvaged.db"), folder=folder)


def clock_back(folder: Path) -> Iterator[str]:
    """A clock set back by a year between two takes."""
    _at(folder, datetime(2026, 6, 1, 18, 0, tzinfo=UTC), datetime(2025, 6, 1, 18, 0, tzinfo=UTC))
    yield from say("takes", folder=folder)
    yield kept(folder)


def summer_time(folder: Path) -> Iterator[str]:
    """The hour that comes twice (25 October 2026, Berlin), then another time zone."""
    berlin = ZoneInfo("Europe/Berlin")
    first = datetime(2026, 10, 25, 2, 30, tzinfo=berlin)
    again = datetime(2026, 10, 25, 2, 30, fold=1, tzinfo=berlin)
    away = datetime(2026, 10, 26, 9, 0, tzinfo=ZoneInfo("Pacific/Auckland"))
    _at(folder, first, again, away)
    with Store(folder / "takes.db") as store:
        for take in store.takes():
            began = take.start.started
            yield f"take {take.number}: {began.isoformat()} = {began.astimezone(UTC).isoformat()}"
    yield kept(folder)


def _at(folder: Path, *moments: datetime) -> None:
    """A take at each of these moments, from a recording."""
    for moment in moments:
        said = say("review", SCORE, _recording(folder), "--keep", folder=folder, now=moment)
        assert said[-1] == "exit 0", said


def _recording(folder: Path) -> str:
    path = folder / "playing.mid"
    if not path.exists():
        made = played(folder / "made", 1)
        assert say("export", "1", str(path), folder=made)[-1] == "exit 0"
    return str(path)


def _mentioning(said: str, pattern: str) -> str:
    lines = [line.strip() for line in said.splitlines() if re.search(pattern, line)]
    return " | ".join(lines) or f"said nothing of it: {said.strip()!r}"


FAULTS: tuple[Callable[[Path], Iterator[str]], ...] = (
    two_programs, killed, full_disk, read_only, newer, damaged, clock_back, summer_time,
)  # fmt: skip


def main() -> None:
    """Make each fault and print what was said."""
    for fault in FAULTS:
        with tempfile.TemporaryDirectory() as folder:
            Path(folder).chmod(0o755)
            print(f"== {(fault.__doc__ or '').strip().rstrip('.')}")
            for line in fault(Path(folder)):
                print("   " + line.replace(folder, "DIR").replace(str(ROOT), "."))
            sys.stdout.flush()


if __name__ == "__main__":
    main()
