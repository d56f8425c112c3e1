"""An exception in each thread that the window starts: told or mended, nothing is left waiting."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from engine.arrangement import Arrangement
from engine.read import engravable_text
from practice import engrave
from practice.engrave import EngravedScore, Engraver, PageLayout
from practice.window import sheet
from practice.window.read_aside import ReadAside, Trouble
from practice.window.score_watch import LOOK_EVERY_S, ScoreWatch
from practice.window.sheet import Sheet
from tests.trust.threads import EXERCISE, PlantedFault, deaths
from tests.trust.verdict import Verdict

LAYOUT = PageLayout(120, 7)
INK = (20, 20, 20)
#: What has not come by then never comes.
MOST_S = 60.0


def fail_in_window_threads(tries: int) -> list[Verdict]:
    """Every thread `tries` times; a line for each."""
    verdicts = []
    for thread, fail in PLACES.items():
        with TemporaryDirectory() as folder:
            found = [fail(Path(folder)) for _ in range(tries)]
        first = next((trouble for trouble in found if trouble), "nothing")
        survived = sum(not trouble for trouble in found)
        verdicts.append(Verdict(f"an exception: {thread}", tries, survived, first))
    return verdicts


def fail_listening_to_the_engraver(folder: Path) -> str:
    """One drawn system cannot be read: the page comes all the same."""
    with (
        TemporaryDirectory(dir=folder) as unread,
        deaths() as died,
        _planted(engrave, "_load_system", 1),
    ):
        score = _engraved(Path(unread), "new")
    if died or not score.done:
        return f"the page never came ({died}, {score.trouble!r})"
    return ""


def fail_reading_kept_pages(folder: Path) -> str:
    """A kept page cannot be read: that is said, and the next time it is drawn anew."""
    _engraved(folder, "kept")
    with deaths() as died, _planted(engrave, "_load_system", 1):
        score = _engraved(folder, "kept")
    if died or score.done or not score.trouble or "\n" in score.trouble:
        return f"nothing was said ({died}, {score.trouble!r})"
    return "" if _engraved(folder, "kept").done else "it was not drawn anew"


def fail_tinting(folder: Path) -> str:
    """A system's picture cannot be made: asked for again, it comes."""
    drawn = Sheet()
    drawn.use(_engraved(folder, "kept"))
    with deaths() as died, _planted(sheet, "make_surface", 1):
        came = _until(lambda: drawn.collect() is None or drawn.surface(0, INK, 7.0) is not None)
    drawn.close()
    return "" if came and not died else f"the system was never drawn ({died})"


def fail_reading_aside(_: Path) -> str:
    """What was to be read aside fails: that is said."""
    aside = ReadAside[int]()
    came: list[int | Trouble | None] = []
    with deaths() as died:
        aside.start(_fail)
        _until(lambda: came.append(aside.poll()) is None and came[-1] is not None)
    told = isinstance(came[-1], Trouble) and came[-1].words == "planted"
    return "" if told and not died else f"nothing was said ({died})"


def fail_reading_the_saved_score(folder: Path) -> str:
    """The score is saved anew and reading it fails: the old one stays, and that is said."""
    score = folder / "saved.musicxml"
    score.write_bytes(EXERCISE.read_bytes())
    watch, now_s, told = ScoreWatch(score, _cannot_read), [0.0], list[str]()
    score.write_bytes(EXERCISE.read_bytes() + b"\n")

    def look() -> bool:
        now_s[0] += LOOK_EVERY_S
        read = watch.poll(now_s[0])
        told.extend([read.trouble] if read else [])
        return read is not None

    with deaths() as died:
        _until(look)
    return "" if told and "planted" in told[0] and not died else f"nothing was said ({died})"


PLACES: dict[str, Callable[[Path], str]] = {
    "engraver's listener": fail_listening_to_the_engraver,
    "reader of kept pages": fail_reading_kept_pages,
    "tinting of systems": fail_tinting,
    "reader of histories": fail_reading_aside,
    "reader of the saved score": fail_reading_the_saved_score,
}


def _fail() -> int:
    raise PlantedFault("planted")


def _cannot_read(_: Path) -> tuple[Arrangement, str]:
    raise PlantedFault("planted")


def _engraved(cache: Path, title: str) -> EngravedScore:
    """The exercise's page, as far as it comes; pages of another title are others."""
    engraver = Engraver(cache)
    engraver.ask(engravable_text(EXERCISE) + f"<!-- {title} -->", [], LAYOUT)
    score = engraver.wait(MOST_S)
    engraver.close()
    assert score is not None
    return score


def _until(done: Callable[[], bool]) -> bool:
    end_s = time.monotonic() + MOST_S
    while time.monotonic() < end_s:
        if done():
            return True
        time.sleep(0.005)
    return False


@contextmanager
def _planted(owner: Any, name: str, at_call: int) -> Iterator[None]:
    """The function raises once, at a call of that number."""
    real, calls = getattr(owner, name), [0]

    def fail(*args: Any) -> Any:
        calls[0] += 1
        if calls[0] == at_call:
            raise PlantedFault("planted")
        return real(*args)

    setattr(owner, name, fail)
    try:
        yield
    finally:
        setattr(owner, name, real)
