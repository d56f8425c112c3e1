"""From the window's keys to the command line: a drill chosen, changed, saved, played again."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pygame
import pytest

from engine.arrangement import Arrangement, Span
from engine.drill import DrillSheet
from engine.read import read_arrangement
from practice.cli import main
from practice.clock import FastClock, ManualClock
from practice.drill import Drill
from practice.drills.coach import Coach
from practice.drills.coaching import CHOSEN
from practice.drills.drill_shelf import DrillShelf
from practice.drills.kept_sheets import find_sheet, list_sheets
from practice.drills.sheet_file import write_sheet
from practice.environment import Environment, ExitStatus, Places, find_places
from practice.listen.demo import DemoPart, DemoPlayer
from practice.listen.happenings import PassEnded
from practice.listen.judge import Judge, judge_pass
from practice.listen.sitting import Setting, Sitting
from practice.player import CHARACTERS, perform
from practice.ports.ports import PortChange
from practice.snapshot import Command
from practice.window.screen import Screen
from tests.waiting import wait_for

SPAN, OTHER = Span(2, 3), Span(6, 7)
NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def path(exercises: Path) -> Path:
    return exercises / "brine-pump.musicxml"


@pytest.fixture(scope="module")
def pump(path: Path) -> Arrangement:
    return read_arrangement(path)


@pytest.fixture
def places(tmp_path: Path) -> Places:
    return find_places(str(tmp_path), {})


class AtTheKeys:
    """Somebody at the computer's keys before a window."""

    def __init__(self, screen: Screen) -> None:
        self.screen = screen

    def press(self, *keys: int) -> None:
        for key in keys:
            event = pygame.event.Event(pygame.KEYDOWN, key=key, mod=0, unicode="", scancode=0)
            pygame.event.post(event)
            self.screen.step()

    def write(self, text: str) -> None:
        """As a keyboard sends it: each letter as a key and as a text."""
        for letter in text:
            self.press(ord(letter))
            pygame.event.post(pygame.event.Event(pygame.TEXTINPUT, text=letter))
            self.screen.step()

    def go_to(self, title: str) -> None:
        titles = [one.title for one in self.screen.view.drills.offers]
        self.press(pygame.K_HOME, *[pygame.K_DOWN] * titles.index(title))

    def wait(self, done: Callable[[], bool]) -> None:
        wait_for(done, self.screen.step)


@pytest.fixture
def sitting(pump: Arrangement, path: Path) -> Iterator[Sitting]:
    setting = Setting(pump, str(path), Drill(SPAN, "left"), FastClock(30), lambda: NOON, "demo")
    made = Sitting(setting, None)
    made.start()
    yield made
    made.stop()


@pytest.fixture
def player(sitting: Sitting, pump: Arrangement) -> Iterator[DemoPlayer]:
    one = DemoPlayer(sitting, pump, Drill(SPAN, "left"), DemoPart("steady", 1, 0), sitting.clock)
    one.start()
    yield one
    one.stop()


@pytest.fixture
def keys(sitting: Sitting, path: Path, places: Places) -> Iterator[AtTheKeys]:
    screen = Screen(sitting.listener, {}, places.cache, path, drills=DrillShelf(places))
    screen.open((1280, 800))
    yield AtTheKeys(screen)
    screen.close()
    pygame.display.init()
    pygame.display.set_mode((64, 64))


def test_chosen_changed_saved_begun_and_found_by_the_command_line(
    keys: AtTheKeys, sitting: Sitting, player: DemoPlayer, places: Places, path: Path
) -> None:
    keys.wait(lambda: bool(sitting.snapshot().passes))
    keys.press(pygame.K_c)
    keys.go_to("Tempo ladder")
    keys.press(pygame.K_RIGHT)
    names = [f.name for f in keys.screen.view.drills.fields]
    keys.press(*[pygame.K_DOWN] * names.index("ladder.start"), pygame.K_RIGHT, pygame.K_RIGHT)
    keys.press(*[pygame.K_DOWN] * (names.index("passes") - names.index("ladder.start")))
    keys.press(pygame.K_RIGHT, pygame.K_TAB)
    keys.write("two bars")
    keys.press(pygame.K_RETURN)
    keys.wait(lambda: keys.screen.view.note == "Saved as “two bars”")
    drills = keys.screen.view.drills
    assert drills.offers[keys.screen.view.row].name == "two bars"
    keys.press(pygame.K_RETURN)
    assert keys.screen.view.overlay == ""
    keys.wait(lambda: sitting.snapshot().state == "ended")
    keys.wait(lambda: sitting.snapshot().passes[-1].pulse.kind == "strict")
    keys.wait(lambda: len(sitting.coaching.log) == 1)
    last = sitting.snapshot().passes[-1]
    assert (last.span, last.hands, last.pulse.kind, last.pulse.rate) == (
        SPAN,
        "left",
        "strict",
        0.7,
    )

    kept = find_sheet("two bars", places.data / "drills")
    assert (kept.ladder.start, kept.passes, kept.hands) == (0.7, 1, ("left",))
    log = places.data / "log.json"
    out = io.StringIO()
    args = ["play", str(path), "--drill", "two bars", "--player", "demo", "--speed", "30",
            "--no-window", "--drill-log", str(log), "--data", str(places.data)]  # fmt: skip
    err = io.StringIO()
    status = main(args, Environment(io.StringIO(), out, err, {}, now=lambda: NOON))
    assert status == ExitStatus.DONE, err.getvalue()
    assert "strict pulse" in out.getvalue()
    (typed,), (chosen,) = json.loads(log.read_text()), sitting.coaching.log
    for name in ("span", "hands", "rate", "reason"):
        assert typed[name] == chosen[name], name


def test_a_kept_drill_is_deleted_when_asked_twice_and_nothing_else_is(
    keys: AtTheKeys, places: Places
) -> None:
    folder = places.data / "drills"
    for name in ("two bars", "three bars"):
        write_sheet(folder / f"{name}.toml", DrillSheet())
    keys.press(pygame.K_c)
    keys.wait(lambda: any(one.name for one in keys.screen.view.drills.offers))
    keys.go_to("Tempo ladder")
    keys.press(pygame.K_DELETE)
    assert keys.screen.view.note == "Only a drill kept under a name can be deleted"
    keys.go_to("two bars")
    keys.press(pygame.K_DELETE)
    assert "“two bars”" in keys.screen.view.note
    keys.press(pygame.K_DOWN, pygame.K_UP, pygame.K_DELETE)  # asked anew: not yet
    keys.press(pygame.K_DELETE)
    keys.wait(lambda: keys.screen.view.note == "“two bars” is deleted")
    assert [one.name for one in list_sheets(folder)] == ["three bars"]
    assert "two bars" not in [one.title for one in keys.screen.view.drills.offers]


def test_a_kept_drill_is_renamed_and_never_over_another(keys: AtTheKeys, places: Places) -> None:
    folder = places.data / "drills"
    for name in ("two bars", "three bars"):
        write_sheet(folder / f"{name}.toml", DrillSheet(name=name, overlap=1))
    keys.press(pygame.K_c)
    keys.wait(lambda: any(one.name for one in keys.screen.view.drills.offers))
    keys.go_to("two bars")
    keys.press(pygame.K_TAB, *[pygame.K_BACKSPACE] * len("two bars"))
    keys.write("Three bars")
    keys.press(pygame.K_TAB)
    assert keys.screen.view.note == "“Three bars” is there already: type another name"
    keys.write(" on")
    keys.press(pygame.K_TAB)
    keys.wait(lambda: keys.screen.view.note == "“two bars” is now called “Three bars on”")
    assert [one.name for one in list_sheets(folder)] == ["three bars", "Three bars on"]
    renamed = find_sheet("Three bars on", folder)
    assert (renamed.name, renamed.overlap) == ("Three bars on", 1)
    drills = keys.screen.view.drills
    assert drills.stage == "list"
    assert drills.offers[keys.screen.view.row].name == "Three bars on"


def test_what_has_no_name_cannot_be_renamed(keys: AtTheKeys) -> None:
    keys.press(pygame.K_c)
    keys.go_to("Tempo ladder")
    keys.press(pygame.K_TAB)
    keys.write("mine")
    keys.press(pygame.K_TAB)
    assert keys.screen.view.note == "It has no name yet: enter saves it under this one"
    assert keys.screen.view.drills.typed == "mine"


def test_what_the_plan_wrote_cannot_be_deleted(keys: AtTheKeys, places: Places) -> None:
    folder = places.data / "drills"
    write_sheet(folder / "today-1.toml", DrillSheet())
    keys.press(pygame.K_c)
    keys.wait(lambda: any(one.name for one in keys.screen.view.drills.offers))
    row = [one.name for one in keys.screen.view.drills.offers].index("today-1")
    keys.press(pygame.K_HOME, *[pygame.K_DOWN] * row, pygame.K_DELETE)
    assert "writes drills of that name anew" in keys.screen.view.note
    assert (folder / "today-1.toml").exists()


def test_typing_a_name_sounds_nothing(keys: AtTheKeys, sitting: Sitting) -> None:
    keys.press(pygame.K_c)
    keys.press(pygame.K_TAB)
    keys.write("aswedx")
    assert keys.screen.view.drills.typed == "aswedx"
    keys.press(pygame.K_ESCAPE, pygame.K_ESCAPE, pygame.K_ESCAPE)
    assert keys.screen.view.overlay == ""
    assert sitting.snapshot().notes == ()
    assert not sitting.outcome.began


def test_a_verdict_that_comes_late_is_not_the_new_drill_s(
    pump: Arrangement, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The judge is held up until another drill, of the very same bars and hands, was begun."""
    ended: list[PassEnded] = []
    monkeypatch.setattr(Judge, "submit", lambda self, one, *_: ended.append(one))
    clock = ManualClock()
    sheet = DrillSheet(pulse="free", hands=("left",), passes=1)
    first = Coach(sheet, pump, [SPAN])
    setting = Setting(pump, str(path), first.drill, clock, lambda: NOON)
    sitting = Sitting(setting, None, coach=first)
    sitting.start()
    sitting.port_changed(PortChange("Upright", True, 0.0))
    rng = np.random.default_rng(1)
    for event in perform(pump, CHARACTERS["steady"], rng, span=SPAN, hands="left", start_s=1.0):
        clock.move_to(event.time_s)
        sitting.hand_on(event)
    clock.move_to(20.0)
    wait_for(lambda: bool(ended))
    told = {"sheet": sheet, "places": (SPAN,), "arrangement": pump}
    sitting.tell(Command(CHOSEN, extra=told))
    wait_for(lambda: sitting.snapshot().state == "waiting")
    for judged in judge_pass(ended[0]):
        sitting._judged(judged)
    wait_for(lambda: len(sitting.snapshot().passes) == 1)
    sitting.tell(Command("gesture", name="off"))
    sitting.finish()
    assert len(first.log) == 1
    assert sitting.coaching.log == first.log
    assert first.is_over
    assert sitting.snapshot().reason != first.drill.reason
    sitting.stop()
