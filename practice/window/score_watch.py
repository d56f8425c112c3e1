"""Watches the score's file: when it is saved again, it is read on a thread of its own."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue

from engine.arrangement import Arrangement

#: How often the file's time and size are looked at.
LOOK_EVERY_S = 0.5
Read = Callable[[Path], tuple[Arrangement, str]]


@dataclass(frozen=True, slots=True)
class ScoreRead:
    """What reading the score again gave: the arrangement and its text, or why it did not go."""

    arrangement: Arrangement | None
    text: str
    trouble: str = ""


def read_score(path: Path) -> tuple[Arrangement, str]:
    """The arrangement and its MusicXML with note ids."""
    from engine.read import engravable_text, read_arrangement

    return read_arrangement(path), engravable_text(path)


def changed_bars(before: Arrangement, after: Arrangement) -> frozenset[int]:
    """Written bars whose notes are not as they were."""
    old, new = _contents(before), _contents(after)
    return frozenset(bar for bar, notes in new.items() if old.get(bar) != notes)


def _contents(arrangement: Arrangement) -> dict[int, list[tuple[object, ...]]]:
    by_bar: dict[int, list[tuple[object, ...]]] = {b.written: [] for b in arrangement.bars}
    for note in arrangement.notes:
        bar = arrangement.bars[note.bar]
        if note.time == 1:
            by_bar[bar.written].append(
                (note.onset_q - bar.onset_q, note.duration_q, note.pitch, note.name, note.staff)
            )
    return by_bar


class ScoreWatch:
    """Tells when the score has been saved anew."""

    def __init__(self, path: Path, read: Read = read_score) -> None:
        self._path, self._read = path, read
        self._seen = self._stamp()
        self._looked_s = 0.0
        self._settling: tuple[int, int] | None = None
        self._came: SimpleQueue[ScoreRead] = SimpleQueue()

    def poll(self, now_s: float) -> ScoreRead | None:
        """What has been read since; looks at the file now and then, and never waits."""
        if now_s - self._looked_s >= LOOK_EVERY_S:
            self._looked_s = now_s
            self._look()
        try:
            return self._came.get_nowait()
        except Empty:
            return None

    def _look(self) -> None:
        stamp = self._stamp()
        if stamp is None or stamp == self._seen:
            return
        if stamp != self._settling:
            self._settling = stamp  # still being written, perhaps: look once more
            return
        self._seen, self._settling = stamp, None
        threading.Thread(target=self._read_again, daemon=True).start()

    def _stamp(self) -> tuple[int, int] | None:
        try:
            stat = self._path.stat()
        except OSError:
            return None
        return stat.st_mtime_ns, stat.st_size

    def _read_again(self) -> None:
        try:
            arrangement, text = self._read(self._path)
            self._came.put(ScoreRead(arrangement, text))
        except Exception as error:
            self._came.put(ScoreRead(None, "", f"the saved score was not taken over: {error}"))
