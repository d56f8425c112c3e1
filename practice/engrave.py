"""The engraver: asks for pages, keeps them on disk, survives the engraving process dying.

Engraving runs in a process of its own (see `practice.engraving`). A page is found again by a
hash of the score's text, the layout and the engraving's version; systems are shown as they come.
"""

from __future__ import annotations

import hashlib
import json
import os
import queue
import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from practice.engraving.fonts import music_font
from practice.engraving.system import EngravedSystem, from_json

#: Layouts kept on disk; the ones longest unused go first.
KEPT_LAYOUTS = 60
#: Systems are drawn by so many processes at once.
MOST_PROCESSES = 2
_PART_NAME = re.compile(r"(<part-(?:name|abbreviation)(?:\s[^>]*)?>)[^<]*(</)")


@dataclass(frozen=True, slots=True)
class PageLayout:
    """How wide a system is, in staff spaces, and how many pixels a space has."""

    width_spaces: int
    space_px: float


@dataclass(frozen=True, slots=True)
class EngravedScore:
    """The page as far as it is there.

    Attributes:
        key: names the folder; the same for the same text and layout.
        folder: where the pictures are, "000.png" for system 0.
        systems: in order of the document, as many as are ready.
        total: how many there will be, None while not known.
        trouble: one line where engraving failed for good, else "".
    """

    key: str
    folder: Path
    layout: PageLayout
    systems: tuple[EngravedSystem, ...] = ()
    total: int | None = None
    trouble: str = ""

    @property
    def done(self) -> bool:
        """All systems are there."""
        return self.total is not None and len(self.systems) == self.total


class Engraver:
    """Turns score text into engraved systems, one job at a time; a new job replaces the old."""

    def __init__(self, cache_dir: Path) -> None:
        self._root = cache_dir / "engraving"
        self._fonts = cache_dir / "fonts"
        self._answers: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        self._processes: list[subprocess.Popen[str]] = []
        self._ready: dict[int, EngravedSystem] = {}
        self._job: dict[str, Any] | None = None
        self._restarted = False
        self._score: EngravedScore | None = None

    @property
    def score(self) -> EngravedScore | None:
        """What was last asked for, as far as it is there."""
        return self._score

    def ask(self, text: str, left_hand: Iterable[str], layout: PageLayout) -> str:
        """Ask for a score's pages. They come through `poll`, at once where they are cached.

        Args:
            text: MusicXML with note ids.
            left_hand: ids of the notes the left hand plays.
            layout: width and size.

        Returns:
            The key of the engraving.
        """
        text = _PART_NAME.sub(r"\1\2", text)
        left = sorted(left_hand)
        key = _key(text, left, layout)
        folder = self._root / key
        if self._score is not None and self._score.key == key and not self._score.trouble:
            return key
        self._score, self._restarted, self._ready = EngravedScore(key, folder, layout), False, {}
        self._stop_processes()  # whatever they were busy with is no longer wanted
        if (folder / "done.json").exists():
            os.utime(folder)
            self._job = None
            threading.Thread(target=self._load_kept, args=(key, folder), daemon=True).start()
            return key
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "score.musicxml").write_text(text, "utf-8")
        self._job = {
            "key": key, "folder": str(folder), "score": str(folder / "score.musicxml"),
            "left_hand": left, "width_spaces": layout.width_spaces, "space_px": layout.space_px,
            "music_font": str(music_font(self._fonts)),
        }  # fmt: skip
        self._start_processes(self._job)
        _forget_old(self._root, keep=key)
        return key

    def poll(self) -> EngravedScore | None:
        """The page with what has come since, or None if nothing has. Never waits."""
        changed = False
        while True:
            try:
                answer = self._answers.get_nowait()
            except queue.Empty:
                return self._score if changed else None
            changed = self._take(answer) or changed

    def wait(self, timeout_s: float = 30.0) -> EngravedScore | None:
        """Wait until the page is done or failed, for programs without a frame loop."""
        while self._score is not None and not self._score.done and not self._score.trouble:
            try:
                self._take(self._answers.get(timeout=timeout_s))
            except queue.Empty:
                break
        return self._score

    def close(self) -> None:
        """End the engraving process."""
        self._job = None
        self._stop_processes()

    def _take(self, answer: dict[str, Any]) -> bool:
        score = self._score
        if score is None or answer["key"] != score.key:
            return False
        if "died" in answer:
            return self._restart(score, answer["died"])
        if "error" in answer:
            self._score = replace(score, trouble=str(answer["error"]))
            return True
        system: EngravedSystem = answer["system"]
        self._ready[system.index] = system
        systems = list(score.systems)
        while len(systems) in self._ready:
            systems.append(self._ready.pop(len(systems)))
        changed = len(systems) > len(score.systems)
        self._score = replace(score, systems=tuple(systems), total=answer["of"])
        if self._score.done and self._job is not None:
            done = json.dumps({"systems": len(systems)})
            (score.folder / "done.json").write_text(done, "utf-8")
            self._job = None
        return changed

    def _restart(self, score: EngravedScore, died: subprocess.Popen[str]) -> bool:
        if self._job is None or score.done or died not in self._processes:
            return False
        if self._restarted:
            self._score = replace(
                score, trouble="the engraver stopped twice; the page is not drawn, all else goes on"
            )
            return True
        self._restarted = True
        self._stop_processes()
        self._start_processes(self._job)
        return False

    def _start_processes(self, job: dict[str, Any]) -> None:
        """Start so many processes as there are cores to draw on, each with its share."""
        shares = min(MOST_PROCESSES, os.cpu_count() or 1)
        for share in range(shares):
            process = _start_process()
            self._processes.append(process)
            assert process.stdin is not None
            try:
                process.stdin.write(json.dumps({**job, "share": share, "shares": shares}) + "\n")
                process.stdin.close()
            except OSError:
                pass  # it died at once; the listener below says so
            threading.Thread(target=self._listen, args=(process, job), daemon=True).start()

    def _stop_processes(self) -> None:
        processes, self._processes = self._processes, []
        for process in processes:
            process.kill()
            process.wait()

    def _listen(self, process: subprocess.Popen[str], job: dict[str, Any]) -> None:
        assert process.stdout is not None
        try:
            for line in process.stdout:
                if not line.startswith("{"):
                    continue  # a library has something to say
                answer = json.loads(line)
                if "system" in answer:
                    answer["system"] = _load_system(Path(job["folder"]), answer["system"])
                self._answers.put(answer)
            failed = process.wait() != 0
        except Exception:  # what it drew cannot be read: the same as if it had not drawn it
            failed = True
        if failed:
            self._answers.put({"key": job["key"], "died": process})

    def _load_kept(self, key: str, folder: Path) -> None:
        try:
            total = int(json.loads((folder / "done.json").read_text("utf-8"))["systems"])
            for index in range(total):
                system = _load_system(folder, index)
                self._answers.put({"key": key, "system": system, "of": total})
        except Exception as error:  # whatever it is, they are drawn anew the next time
            shutil.rmtree(folder, ignore_errors=True)
            trouble = f"kept pages could not be read and were thrown away ({error}); open again"
            self._answers.put({"key": key, "error": trouble})


def _start_process() -> subprocess.Popen[str]:
    paths = [str(Path(__file__).resolve().parents[1]), os.environ.get("PYTHONPATH", "")]
    return subprocess.Popen(
        [sys.executable, "-m", "practice.engraving.worker"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in paths if p)},
    )


def _load_system(folder: Path, index: int) -> EngravedSystem:
    return from_json(json.loads((folder / f"{index:03d}.json").read_text("utf-8")))


def _key(text: str, left: list[str], layout: PageLayout) -> str:
    from importlib.metadata import version

    from practice.engraving.worker import ENGRAVING_VERSION

    made_by = [ENGRAVING_VERSION, version("verovio"), version("resvg-py")]
    parts = json.dumps([made_by, left, layout.width_spaces, layout.space_px])
    return hashlib.sha256(f"{parts}\n{text}".encode()).hexdigest()[:32]


def _forget_old(root: Path, keep: str) -> None:
    folders = sorted((f for f in root.iterdir() if f.is_dir()), key=lambda f: f.stat().st_mtime)
    for folder in folders[:-KEPT_LAYOUTS]:
        if folder.name != keep:
            shutil.rmtree(folder, ignore_errors=True)
