"""A process killed in the middle of a pass loses at most the last second of notes."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from practice.store.store import Store
from tests.trust.verdict import Verdict

MOST_LOST_S = 1.0


def kill_at_random(tries: int, seed: int = 1, most_s: float = MOST_LOST_S) -> Verdict:
    """Kill a keeping process at `tries` random moments; read back what it kept.

    Args:
        most_s: seconds of notes that may be lost.
    """
    rng = np.random.default_rng(seed)
    survived, worst_s = 0, 0.0
    for _ in range(tries):
        with TemporaryDirectory() as folder:
            store = Path(folder) / "takes.db"
            handed_on, killed_s = _keep_until_killed(store, float(rng.uniform(0.0, 1.5)))
            lost_s = _lost_s(store, handed_on, killed_s)
            worst_s = max(worst_s, lost_s)
            survived += lost_s <= most_s
    return Verdict("killed while keeping", tries, survived, f"at most {worst_s:.2f} s of notes")


def _keep_until_killed(store: Path, after_s: float) -> tuple[list[float], float]:
    """When each message was handed on (seconds), and when the process was killed."""
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.trust.kept_typist", str(store)], stdout=subprocess.PIPE
    )
    assert child.stdout is not None
    lines: list[bytes] = [child.stdout.readline()]
    reader = threading.Thread(target=lambda: lines.extend(child.stdout or ()))
    reader.start()
    time.sleep(after_s)
    killed_s = time.monotonic()
    child.kill()
    child.wait()
    reader.join()
    child.stdout.close()
    return [float(line.split()[1]) for line in lines if line.endswith(b"\n")], killed_s


def _lost_s(store: Path, handed_on: list[float], killed_s: float) -> float:
    """How long before the kill the first lost message was handed on; inf where order broke."""
    with Store(store) as reopened:
        reopened.recover(datetime.now(UTC) + timedelta(days=1))
        takes = reopened.takes()
        events = reopened.events(takes[0].number) if takes else []
    kept = [(event.data[1], event.data[2]) for event in events]
    if kept != [(n // 100 % 100, n % 100 + 1) for n in range(len(kept))]:
        return float("inf")
    return killed_s - handed_on[len(kept)] if len(kept) < len(handed_on) else 0.0
