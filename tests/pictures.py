"""Pictures of the window in every state: `python -m tests.pictures DIR [NAME ...]`.

Made under SDL's dummy driver, so no screen is needed. Each is opened and looked at whenever the
window changes. `--assets` writes the two of the README, `--goldens` the small ones that a test
compares with, on purpose and after looking.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")

import pygame

from engine.arrangement import Span, whole_span
from engine.findings import Estimate
from practice.drills.kept_sheets import KeptSheet
from practice.drills.offers import Shelf
from practice.drills.places import Weaknesses
from practice.drills.ready_made import READY_MADE
from practice.listen.take_list import TakeRow
from practice.snapshot import Snapshot
from practice.window.canvas import Canvas
from practice.window.drill_choice import open_drills, press_drills, take_shelf, type_text
from practice.window.painter import Painter
from practice.window.sheet import Sheet
from practice.window.take_choice import TakeChoice, press_takes
from practice.window.theme import ThemeName
from practice.window.view import Preferences, View
from tests.conftest import data_sets_folder
from tests.window.colour_vision import VISION, seen_by
from tests.window.days_practised import made_up_progress
from tests.window.laid_out import laid_out_rest, laid_out_stage
from tests.window.staging import (
    Stage,
    faulty,
    map_cells,
    passed,
    prepare_fonts,
    stage,
    stage_of,
    under_way,
    waiting,
)

USUAL = (1920, 1080)
#: Bars 5 to 25 of the miniature: figure, octaves, double flats, two sections.
SPAN = Span(4, 24)
ASSETS = Path(__file__).resolve().parents[1] / "assets"
ASSET_FILES = {"after-pass": "window.png", "dark-playing": "playing.png"}
GOLDENS = Path(__file__).resolve().parent / "window" / "goldens"


@dataclass(frozen=True)
class Shot:
    """One picture: how the view is made, and the size of the window."""

    make: Callable[[tuple[int, int]], View | None]
    size: tuple[int, int] = USUAL


def paint(view: View, size: tuple[int, int]) -> pygame.Surface:
    """The window as it would be seen."""
    surface = pygame.Surface(size)
    sheet = Sheet(at_once=True)
    sheet.use(view.page.score if view.page else None)
    Canvas(Painter(sheet)).draw(surface, view)
    return surface


def after(
    which: Stage, span: Span, count: int = 3, hands: str = "both", **changes: object
) -> Snapshot:
    """At rest after some passes."""
    records = tuple(
        passed(which.arrangement, span, hands, faulty(), seed=k, number=k)  # type: ignore[arg-type]
        for k in range(1, count + 1)
    )
    return waiting(
        which.arrangement, span, state="rest", passes=records, hands=hands,
        cells=map_cells(which.arrangement), **changes,
    )  # fmt: skip


def _with(
    prefs: Preferences | None = None, looked_at: int = 0, **more: object
) -> dict[str, object]:
    return {"preferences": prefs or Preferences(), "looked_at": looked_at, **more}


def _view(
    snapshot: Snapshot, size: tuple[int, int], which: Stage | None = None, **more: object
) -> View:
    return (which or stage()).view(snapshot, size, **more)  # type: ignore[arg-type]


def _first_start(size: tuple[int, int]) -> View:
    snapshot = waiting(stage().arrangement, port="Upright")
    return _view(
        snapshot, size, overlay="welcome", ports=("Upright", "Desk Keys 25"), heard_test=63
    )


def _first_start_bare(size: tuple[int, int]) -> View:
    snapshot = waiting(stage().arrangement, port="", connected=False, state="no-keyboard")
    return _view(snapshot, size, overlay="welcome")


def _no_keyboard(size: tuple[int, int]) -> View:
    arrangement = stage().arrangement
    snapshot = waiting(arrangement, SPAN, state="no-keyboard", port="", connected=False)
    return _view(replace(snapshot, cells=map_cells(arrangement)), size)


def _waiting(size: tuple[int, int]) -> View:
    arrangement = stage().arrangement
    return _view(waiting(arrangement, SPAN, cells=map_cells(arrangement)), size)


def _count_in(size: tuple[int, int]) -> View:
    arrangement = stage().arrangement
    snapshot = waiting(arrangement, SPAN, state="count-in", pulse_kind="strict", rate=0.8,
                       beat=(2, 2), cells=map_cells(arrangement))  # fmt: skip
    return _view(snapshot, size)


def _strict(size: tuple[int, int]) -> View:
    arrangement = stage().arrangement
    snapshot = under_way(arrangement, SPAN, 0.45, pulse_kind="strict", rate=0.8, beat=(1, 2),
                         cells=map_cells(arrangement))  # fmt: skip
    return _view(snapshot, size)


def _free(size: tuple[int, int]) -> View:
    arrangement = stage().arrangement
    earlier = after(stage(), SPAN, 2)
    snapshot = under_way(arrangement, SPAN, 0.6, passes=earlier.passes, cells=earlier.cells)
    return _view(snapshot, size, looked_at=2)


def _after(size: tuple[int, int], **more: object) -> View:
    return _view(after(stage(), SPAN), size, looked_at=3, **more)


def _dark_playing(size: tuple[int, int]) -> View:
    return replace(_free(size), preferences=Preferences(theme="dark"))


def _average(size: tuple[int, int]) -> View:
    return _view(after(stage(), SPAN, 5), size, looked_at=5, looking="average")


def _one_hand(size: tuple[int, int]) -> View:
    return _view(after(stage(), SPAN, 2, "left"), size, looked_at=2)


def _second_time(size: tuple[int, int]) -> View:
    return _view(after(stage(), Span(48, 60), 1), size, looked_at=1)


def _dark(size: tuple[int, int]) -> View:
    return _after(size, preferences=Preferences(theme="dark"))


def _double_flats(size: tuple[int, int]) -> View:
    return _view(after(stage(), Span(36, 43), 2), size, looked_at=2)


def _data(name: str, share: float | None, span: Span | None = None) -> Callable[..., View | None]:
    def make(size: tuple[int, int]) -> View | None:
        folder = data_sets_folder()
        if folder is None:
            return None
        which = stage_of(folder / name / "score.musicxml")
        bars = span or whole_span(which.arrangement)
        if share is None:
            return _view(after(which, bars, 1), size, which, looked_at=1)
        return _view(under_way(which.arrangement, bars, share), size, which)

    return make


def _unplugged(size: tuple[int, int]) -> View:
    arrangement = stage().arrangement
    snapshot = under_way(
        arrangement, SPAN, 0.3, connected=False, cells=map_cells(arrangement),
        message="Keyboard unplugged: the take so far is kept; plug it in and go on",
    )  # fmt: skip
    return _view(snapshot, size)


def _settings(size: tuple[int, int]) -> View:
    return _after(size, overlay="settings", row=2, ports=("Upright",))


def _help(size: tuple[int, int]) -> View:
    return _after(size, overlay="help")


def _progress(size: tuple[int, int]) -> View:
    return _after(size, overlay="progress", progress=made_up_progress(stage().arrangement))


def _pressed(view: View, key: str) -> View:
    done = press_drills(view, key)
    assert done is not None
    return done[0]


def _drills(
    *keys: str, at: str = "", typed: str = "", then: str = "", theme: ThemeName = "light"
) -> Callable[[tuple[int, int]], View]:
    """The sheet of drills at a row after some keys, where a take had slips and drills are kept."""

    def make(size: tuple[int, int]) -> View:
        known = Weaknesses((9, 6, 18), (9, 9, 6, 18))
        slow = replace(READY_MADE["ladder"], where=("bars 9-12",), hands=("left",))
        kept = (
            KeptSheet("today-1", replace(slow, where=("section Inlet",))),
            KeptSheet("left hand slow", slow),
            KeptSheet("broken", trouble="not understood (line 3): broken.toml; write it as TOML"),
        )
        opened = open_drills(_after(size, preferences=Preferences(theme=theme)))
        view = take_shelf(opened, Shelf(known, kept))
        titles = [one.title for one in view.drills.offers]
        view = replace(view, row=titles.index(at) if at else 0)
        for key in keys:
            view = _pressed(view, key)
        view = type_text(view, typed)
        return _pressed(view, then) if then else view

    return make


def _takes(size: tuple[int, int], **more: object) -> View:
    """The sheet of kept takes, two of them marked."""
    told = ("2 passes, 1 good", "1 pass, 0 good, keeper", "3 passes, 2 good, an earlier page")
    days = [f"2026-03-{day:02} 21:{day + 7:02}" for day in range(31, 0, -1)]
    rows = tuple(
        TakeRow(40 - k, day, f"{1 + k % 4}:{7 * k % 60:02}", told[k % 3])
        for k, day in enumerate(days)
    )
    view = replace(_after(size, **more), overlay="takes", row=3)
    return replace(view, takes=TakeChoice(rows=rows, marked=(39, 37)))


def _heard(size: tuple[int, int], note: str = "") -> View:
    """A kept take is played to the player, the page following."""
    which = stage()
    heard = replace(
        after(which, SPAN), state="listening", place_q=30.0, message=note,
        heard="Playing to you: take 12, 2026-03-14 21:08 (1 of 2)",
    )  # fmt: skip
    return which.view(heard, size, looked_at=0)


def _performance(size: tuple[int, int]) -> View:
    arrangement = stage().arrangement
    snapshot = waiting(arrangement)
    return _view(snapshot, size, performing=True, rescue_bars=(4, 20, 36))


def _real_change(size: tuple[int, int]) -> View:
    """Octaves better, evenness worse than in the pass before, both beyond doubt."""
    snapshot = after(stage(), SPAN)
    last = snapshot.passes[-1]
    even = replace(last.measures.evenness, sd_ms=Estimate(18.0, 16.0, 21.0, 160, "ms"))
    octaves = replace(
        last.measures.octaves, median_abs_residual_ms=Estimate(2.0, 1.6, 2.4, 40, "ms")
    )
    measures = replace(last.measures, evenness=even, octaves=octaves)
    passes = (*snapshot.passes[:-1], replace(last, measures=measures))
    return _view(replace(snapshot, passes=passes), size, looked_at=3)


def _rescue_points(size: tuple[int, int]) -> View:
    return _after(size, rescue_bars=(4, 9, 20))


def _from_memory(size: tuple[int, int]) -> View:
    arrangement = stage().arrangement
    return _view(under_way(arrangement, SPAN, 0.4, from_memory=True), size)


def _drill(size: tuple[int, int]) -> View:
    snapshot = after(stage(), SPAN, 2, reason="slower, two of the last three passes had slips")
    return _view(snapshot, size, looked_at=2)


def _fingering(size: tuple[int, int]) -> View:
    view = _view(waiting(stage().arrangement, SPAN), size)
    return replace(view, fingered=next(k for k, n in enumerate(stage().arrangement.notes)
                                       if n.bar == 5 and n.hand == "left"))  # fmt: skip


def _changed(size: tuple[int, int]) -> View:
    note = "Saved score taken over, 2 bars changed"
    return _view(
        waiting(stage().arrangement, SPAN), size, changed_bars=frozenset((5, 9)), note=note
    )


def _no_page(size: tuple[int, int]) -> View:
    return replace(_waiting(size), page=None)


def _exercise(name: str, hands: str = "both") -> Callable[[tuple[int, int]], View]:
    def make(size: tuple[int, int]) -> View:
        which = stage(name)
        return _view(
            after(which, whole_span(which.arrangement), 2, hands), size, which, looked_at=2
        )

    return make


SHOTS: dict[str, Shot] = {
    "first-start": Shot(_first_start),
    "first-start-no-keyboard": Shot(_first_start_bare),
    "no-keyboard": Shot(_no_keyboard),
    "waiting": Shot(_waiting),
    "count-in": Shot(_count_in),
    "strict-pass": Shot(_strict),
    "free-pass": Shot(_free),
    "after-pass": Shot(_after),
    "dark-playing": Shot(_dark_playing),
    "average": Shot(_average),
    "one-hand": Shot(_one_hand),
    "second-time": Shot(_second_time),
    "long-piece": Shot(_data("chopin-op25-1", 0.3)),
    "long-piece-tiny": Shot(_data("chopin-op25-1", None), (1280, 800)),
    "tiny": Shot(_after, (1280, 800)),
    "huge": Shot(_after, (3840, 2160)),
    "large-scale": Shot(lambda s: _after(s, preferences=Preferences(scale=2.0))),
    "small-scale": Shot(lambda s: _after(s, preferences=Preferences(scale=0.75))),
    "tiny-large-scale": Shot(lambda s: _after(s, preferences=Preferences(scale=2.0)), (1280, 800)),
    "tiny-large-scale-side": Shot(
        lambda s: _after(s, preferences=Preferences(scale=2.0), side_open=True), (1280, 800)
    ),
    "dark": Shot(_dark),
    "double-flats": Shot(_double_flats),
    "octave-signs": Shot(_data("chopin-op57", None, Span(36, 46))),
    "unplugged": Shot(_unplugged),
    "settings": Shot(_settings),
    "help": Shot(_help),
    "help-tiny": Shot(_help, (1280, 800)),
    "real-change": Shot(_real_change),
    "rescue-points": Shot(_rescue_points),
    "drills": Shot(_drills("down", "down")),
    "drills-tiny": Shot(_drills(*["down"] * 5), (1280, 800)),
    "drills-kept": Shot(_drills(at="left hand slow")),
    "drills-delete": Shot(_drills("delete", at="left hand slow"), (1280, 800)),
    "drills-not-here": Shot(_drills("return", at="broken", theme="dark")),
    "drill-numbers": Shot(_drills("right", *["down"] * 7, "right")),
    "drill-numbers-idle": Shot(_drills(*["down"] * 3, "right", *["down"] * 4), (1280, 800)),
    "drill-name": Shot(_drills("tab", typed="octaves, slowly")),
    "drill-rename": Shot(_drills("tab", at="left hand slow", typed="er"), (1280, 800)),
    "drill-name-taken": Shot(_drills("tab", typed="left hand slow", then="return"), (1280, 800)),
    "takes": Shot(_takes),
    "takes-tiny": Shot(lambda s: _takes(s, preferences=Preferences(theme="dark")), (1280, 800)),
    "takes-delete": Shot(lambda s: press_takes(_takes(s), "delete"), (1280, 800)),
    "take-heard": Shot(_heard),
    "take-heard-page-changed": Shot(
        lambda s: _heard(
            s,
            "take 12, 2026-03-14 21:08: the page has changed since,"
            " it follows 143 of 160 right notes",
        )
    ),
    "progress": Shot(_progress),
    "progress-tiny": Shot(_progress, (1280, 800)),
    "performance": Shot(_performance),
    "fingering": Shot(_fingering),
    "from-memory": Shot(_from_memory),
    "drill": Shot(_drill),
    "changed-bars": Shot(_changed),
    "no-page-yet": Shot(_no_page),
    "brine-pump": Shot(_exercise("brine-pump")),
    "two-sluices": Shot(_exercise("two-sluices")),
    "evaporation-tiny": Shot(_exercise("evaporation"), (1280, 800)),
}


def shrunk(surface: pygame.Surface) -> pygame.Surface:
    """A third of the size: enough to see that something moved, small enough to keep."""
    width, height = surface.get_size()
    return pygame.transform.smoothscale(surface.convert(24), (width // 3, height // 3))


def _laid_out(theme: ThemeName = "light", scale: float = 1.0, **more: object) -> Shot:
    def make(size: tuple[int, int]) -> View:
        preferences = Preferences(theme=theme, scale=scale)
        snapshot = laid_out_rest()
        return _view(snapshot, size, laid_out_stage(), looked_at=2, preferences=preferences, **more)

    return Shot(make)


#: The kept pictures: their session is laid out by hand, so that only the window changes them.
GOLDEN_SHOTS: dict[str, Shot] = {
    "after-pass": _laid_out(),
    "dark": _laid_out("dark"),
    "help": replace(_laid_out(overlay="help"), size=(1280, 800)),
    "large-side": replace(_laid_out(scale=2.0, side_open=True), size=(1280, 800)),
    "performance": _laid_out(performing=True, rescue_bars=(4, 12)),
}


def golden(name: str) -> pygame.Surface:
    """A kept picture, made now."""
    shot = GOLDEN_SHOTS[name]
    view = shot.make(shot.size)
    assert view is not None
    return shrunk(paint(view, shot.size))


def _painted(name: str) -> pygame.Surface:
    shot = SHOTS[name]
    view = shot.make(shot.size)
    assert view is not None
    return paint(view, shot.size)


def save_all(folder: Path, names: list[str]) -> None:
    """Save the pictures named, or all."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, shot in SHOTS.items():
        if names and name not in names:
            continue
        view = shot.make(shot.size)
        if view is None:
            print(f"{name}: left out, its score is not on this machine")
            continue
        surface = paint(view, shot.size)
        pygame.image.save(surface, str(folder / f"{name}.png"))
        print(f"{name}.png")
        if name == "after-pass":
            for vision in VISION:
                pygame.image.save(seen_by(surface, vision), str(folder / f"{name}-{vision}.png"))


def main() -> int:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, nargs="?", help="where the pictures go")
    parser.add_argument("names", nargs="*", metavar="NAME", help="of these states only")
    parser.add_argument("--assets", action="store_true", help="the two of the README")
    parser.add_argument("--goldens", action="store_true", help="those that a test compares with")
    options = parser.parse_args()
    if not (options.folder or options.assets or options.goldens):
        parser.error("where to? name a folder")
    if unknown := set(options.names) - set(SHOTS):
        parser.error(f"no such state: {', '.join(sorted(unknown))}")
    pygame.display.init()
    pygame.display.set_mode((64, 64))
    prepare_fonts()
    if options.assets:
        for name, file in ASSET_FILES.items():
            pygame.image.save(_painted(name), str(ASSETS / file))
    if options.goldens:
        GOLDENS.mkdir(exist_ok=True)
        for name in GOLDEN_SHOTS:
            pygame.image.save(golden(name), str(GOLDENS / f"{name}.png"))
    if options.folder:
        save_all(options.folder, options.names)
    return 0


if __name__ == "__main__":
    sys.exit(main())
