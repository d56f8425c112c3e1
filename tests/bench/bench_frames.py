"""How long a frame takes: `python -m tests.bench.bench_frames [--minutes M]`.

A long arrangement made from the miniature (repeated until it lasts ten minutes, its line doubled
to twenty notes a second) is played to the window by a made-up listener in accelerated time, under
the dummy driver at 1920 by 1080. Each frame brings its notes, as they would come at sixty frames
a second. Printed: quantiles of update and draw, the slowest frames and what they did, and how
long after being published a note was on the screen. Nothing is asserted.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")

import numpy as np

from engine.arrangement import Arrangement, Span, whole_span
from engine.findings import Finding
from engine.performance import KeyEvent, PlayedNote
from engine.read import engravable_text, read_arrangement
from practice.engrave import Engraver, PageLayout
from practice.snapshot import Command, PassRecord, Snapshot
from practice.store.keeper import TakeKeeper
from practice.store.kept import TakeStart
from practice.window.desk import fitting_layout
from practice.window.desk_state import COME_ROUND_S, left_hand_ids
from practice.window.parts import arrange_parts
from practice.window.screen import Screen
from tests.window.staging import CACHE, map_cells, passed, waiting

SIZE = (1920, 1080)
FRAME_S = 1 / 60
NOTES_PER_S = 20.0


def write_long_score(folder: Path, minutes: float) -> Path:
    """A two-hand score of running notes: ten a second in each hand, so many minutes long."""
    bars = max(4, round(minutes * 60 / 2.4))  # 4/4 at a quarter = 100: a bar lasts 2.4 s
    right = [63, 66, 70, 75, 74, 70, 66, 61]
    left = [39, 46, 51, 54, 58, 54, 51, 46]
    names = ["C", "C#", "D", "E-", "E", "F", "G-", "G", "A-", "A", "B-", "B"]
    rows = ["".join(_bar(k, right, left, names)) for k in range(bars)]
    text = (
        '<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1">'
        "<part-name>Piano</part-name></score-part></part-list>"
        f'<part id="P1">{"".join(rows)}</part></score-partwise>'
    )
    path = folder / f"running-{bars}.musicxml"
    path.write_text(text, "utf-8")
    return path


def _bar(k: int, right: list[int], left: list[int], names: list[str]) -> list[str]:
    head = ""
    if k == 0:
        head = (
            "<attributes><divisions>6</divisions><key><fifths>-6</fifths></key><time><beats>4"
            "</beats><beat-type>4</beat-type></time><staves>2</staves><clef number='1'><sign>G"
            "</sign><line>2</line></clef><clef number='2'><sign>F</sign><line>4</line></clef>"
            "</attributes><direction><sound tempo='100'/></direction>"
        )
    out = [f'<measure number="{k + 1}">{head}']
    for staff, pitches in ((1, right), (2, left)):
        out += [_note(pitches[(n + k) % 8], staff, names) for n in range(24)]
        if staff == 1:
            out.append("<backup><duration>24</duration></backup>")
    out.append("</measure>")
    return out


def _note(pitch: int, staff: int, names: list[str]) -> str:
    name = names[pitch % 12]
    alter = {"-": -1, "#": 1}.get(name[1:], 0)
    return (
        f"<note><pitch><step>{name[0]}</step><alter>{alter}</alter><octave>{pitch // 12 - 1}"
        f"</octave></pitch><duration>1</duration><voice>{staff}</voice><type>16th</type>"
        "<time-modification><actual-notes>6</actual-notes><normal-notes>4</normal-notes>"
        f"</time-modification><staff>{staff}</staff></note>"
    )


@dataclass
class MadeUp:
    """A listener whose snapshots are laid out beforehand; frame by frame one more note or two."""

    current: Snapshot

    def snapshot(self) -> Snapshot:
        return self.current

    def tell(self, command: Command) -> None:
        pass


@dataclass(frozen=True)
class Frame:
    """One frame: time by the clock, time this thread worked, what it did."""

    took_ms: float
    worked_ms: float
    what: str


class Keeping:
    """The keeper's thread at work beside the frames, on a store of its own."""

    def __init__(self, folder: Path, arrangement: Arrangement) -> None:
        self.keeper = TakeKeeper(folder / "takes.db", lambda: datetime.now(UTC))
        self._arrangement = arrangement
        self._take = 0
        self.begin()

    def begin(self) -> None:
        """A take begins."""
        self._take += 1
        page, span = self._arrangement, whole_span(self._arrangement)
        self.keeper.begin(
            self._take,
            TakeStart(
                page.content_hash, page.title, "", "Upright", "played", datetime.now(UTC), span,
                None, "free", 1.0,
            ),
        )  # fmt: skip

    def write(self, note: PlayedNote) -> None:
        """A key goes down and up."""
        for late_s, status in ((0.0, 0x90), (0.04, 0x80)):
            data = bytes((status, note.pitch, note.velocity))
            self.keeper.append(self._take, KeyEvent(note.onset_s + late_s, 0.0, data))

    def save(self) -> None:
        """The take ends and the next begins."""
        self.keeper.end(self._take)
        self.begin()


def play_through(
    arrangement: Arrangement, screen: Screen, listener: MadeUp, seconds: float, keeping: Keeping
) -> list[Frame]:
    """Frame times in ms with what the frame did, over a pass of so many seconds."""
    table = arrangement.table
    order = np.argsort(table["onset_s"], kind="stable")
    notes: list[PlayedNote] = []
    findings: list[Finding] = []
    frames: list[Frame] = []
    lags: list[int] = []
    base = listener.current
    at, end_s = 0, min(seconds, float(table["onset_s"].max()))
    for frame in range(int(end_s / FRAME_S)):
        now_s = frame * FRAME_S
        fresh = False
        while at < len(order) and table["onset_s"][order[at]] <= now_s:
            index = int(order[at])
            notes.append(PlayedNote(at, int(table["pitch"][index]), 64, now_s))
            findings.append(Finding(at, index, "right"))
            keeping.write(notes[-1])
            at, fresh = at + 1, True
        if fresh:
            place = float(table["onset_q"][findings[-1].score or 0])
            listener.current = replace(
                base, version=base.version + frame, state="playing", place_q=place,
                notes=tuple(notes), findings=tuple(findings),
            )  # fmt: skip
        frames.append(_timed(screen, "note" if fresh else "still"))
        if fresh:
            lags.append(_frames_until_seen(screen, findings[-1].score or 0))
        time.sleep(0.001)  # other threads have most of a real frame to themselves
    print(f"a note is on the screen in frame {max(lags) + 1} after it was published, at the latest")
    return frames


def _frames_until_seen(screen: Screen, note: int) -> int:
    """Further frames until a published note is marked (0: it was in the first one)."""
    for more in range(5):
        if note in screen.view.heard:
            return more
        screen.step()
    return 5


def _timed(screen: Screen, what: str) -> Frame:
    slots = screen.view.slots
    start, cpu_start = time.perf_counter(), time.thread_time()
    screen.step()
    took, worked = time.perf_counter() - start, time.thread_time() - cpu_start
    kind = "page turn" if screen.view.slots != slots else what
    return Frame(took * 1000, worked * 1000, kind)


def end_pass(
    screen: Screen, listener: MadeUp, record: PassRecord, number: int, keeping: Keeping
) -> list[Frame]:
    """The frames at the end of a pass: marks, Account and Wheel come at once; the take is saved."""
    keeping.save()
    was = listener.current
    record = replace(record, number=number)
    listener.current = replace(
        was, version=was.version + 1, state="rest", place_q=None, notes=(), findings=(),
        passes=(*was.passes, record),
    )  # fmt: skip
    frames = [_timed(screen, "pass ended")]
    saved_by_s = time.perf_counter() + 0.5  # the longest until a commit, and then some
    for _ in range(round(2 * COME_ROUND_S / FRAME_S)):  # the span's first line comes back too
        saving = time.perf_counter() < saved_by_s
        frames.append(_timed(screen, "take saved" if saving else "still"))
        time.sleep(max(0.0, FRAME_S - frames[-1].took_ms / 1000))
    return frames


def report(frames: Sequence[Frame]) -> None:
    """Quantiles over all frames and by what they did: by the clock, and of work alone.

    The two part where other programs use the machine.
    """
    print(f"{'frames':12} {'n':>6}   by the clock, ms: half, 95 %, 99 %, max   work alone, ms")
    for kind in ["all", *sorted({f.what for f in frames})]:
        chosen = [f for f in frames if kind in ("all", f.what)]
        columns = [
            f"{q:7.2f}"
            for took in ([f.took_ms for f in chosen], [f.worked_ms for f in chosen])
            for q in np.quantile(took, [0.5, 0.95, 0.99, 1.0])
        ]
        print(f"{kind:12} {len(chosen):6d}   {' '.join(columns[:4])}   {' '.join(columns[4:])}")


def report_engraving(path: Path, arrangement: Arrangement, layout: PageLayout) -> None:
    """How long until the first system, all of them, and all of them once cached."""
    with tempfile.TemporaryDirectory() as folder:
        for what in ("new", "cached"):
            engraver, start, first = Engraver(Path(folder)), time.perf_counter(), 0.0
            engraver.ask(engravable_text(path), left_hand_ids(arrangement), layout)
            while engraver.score and not engraver.score.done and not engraver.score.trouble:
                if engraver.poll() and not first and engraver.score.systems:
                    first = time.perf_counter() - start
                time.sleep(0.005)
            whole = time.perf_counter() - start
            bars = len({b.written for b in arrangement.bars})
            print(f"engraving {bars} bars, {what}: first {first:.2f} s, all {whole:.2f} s")
            engraver.close()


def main(args: Sequence[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0, help="length of the arrangement")
    parser.add_argument("--played", type=float, default=120.0, help="seconds of it played")
    options = parser.parse_args(args)
    with tempfile.TemporaryDirectory() as folder:
        path = write_long_score(Path(folder), options.minutes)
        arrangement = read_arrangement(path)
        rate = len(arrangement.notes) / float(arrangement.seconds_at([float(arrangement.end_q)])[0])
        print(f"{len(arrangement.notes)} notes, {rate:.1f} a second, {len(arrangement.bars)} bars")
        short = write_long_score(Path(folder), 200 * 2.4 / 60)
        layout = fitting_layout(None, arrange_parts(SIZE), False)
        report_engraving(short, read_arrangement(short), layout)
        run_frames(path, arrangement, options.played, Keeping(Path(folder), arrangement))
    return 0


def run_frames(path: Path, arrangement: Arrangement, seconds: float, keeping: Keeping) -> None:
    """Open the window, wait for the page, play, end the pass; print."""
    span = whole_span(arrangement)
    listener = MadeUp(waiting(arrangement, span, cells=map_cells(arrangement)))
    start = time.perf_counter()
    screen = Screen(listener, {}, CACHE, path)
    screen.open(SIZE)
    screen.step()
    print(f"window open and first frame after {time.perf_counter() - start:.2f} s")
    while screen.view.page is None or not screen.view.page.score.done:
        screen.step()
        time.sleep(0.01)
    print(f"page whole after {time.perf_counter() - start:.2f} s")
    for _ in range(40):  # let the sheet's thread make what is on the screen
        screen.step()
        time.sleep(0.01)
    record = passed(arrangement, Span(0, min(60, len(arrangement.bars) - 1)))
    gc.collect()
    gc.freeze()
    frames = play_through(arrangement, screen, listener, seconds, keeping)
    for number in range(1, 4):
        frames += end_pass(screen, listener, record, number, keeping)
    report(frames)
    screen.close()
    keeping.keeper.stop()
    print(f"the keeper's trouble: {keeping.keeper.problem or 'none'}")


if __name__ == "__main__":
    sys.exit(main())
