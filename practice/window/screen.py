"""The window: pygame's events in, commands out, the newest snapshot drawn."""

from __future__ import annotations

import os
import time
import warnings
from collections.abc import Callable, MutableMapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol

import pygame

from engine.performance import SOFT
from engine.read import engravable_text
from engine.read.fingering import with_fingering
from practice.engrave import Engraver
from practice.snapshot import Command, Snapshot
from practice.window.actions import Outcome, act_on
from practice.window.asides import Asides, ProgressOf, Shelves, Takes
from practice.window.canvas import Canvas
from practice.window.desk import slot_plan, tints
from practice.window.desk_state import DeskState
from practice.window.drill_choice import type_text
from practice.window.faces import use_music_font
from practice.window.gestures import (
    Press,
    press_key,
    press_mouse,
    release_mouse,
    turn_wheel,
)
from practice.window.painter import Painter
from practice.window.parts import Parts
from practice.window.preferences import read_preferences, write_preferences
from practice.window.read_aside import ReadAside, Trouble
from practice.window.score_watch import Read, ScoreRead, ScoreWatch, changed_bars, read_score
from practice.window.sheet import Sheet
from practice.window.small_piano import SmallPiano
from practice.window.theme import THEMES
from practice.window.view import View

FRAMES_PER_S = 60
FIRST_SIZE = (1600, 900)
SMALLEST_SIZE = (640, 400)
_PEDAL_DOWN = 64
#: The bars a saved score changed are shown at least so long, then until a pass begins or ends.
CHANGES_SHOWN_S = 8.0
#: For keyboards without a number pad, as usual elsewhere.
WITH_CONTROL = {"=": "larger", "+": "larger", "-": "smaller"}
#: How often the list of keyboards is asked for while an overlay shows it.
_PORTS_EVERY_S = 1.0


class ListensAndObeys(Protocol):
    """What the window needs of the listener."""

    def snapshot(self) -> Snapshot:
        """The newest picture of the session."""
        ...

    def tell(self, command: Command) -> None:
        """Put a command into its queue."""
        ...


def run_window(
    listener: ListensAndObeys,
    settings: Any,
    *,
    cache_dir: Path,
    score_path: Path | str,
    text: str = "",
    read: Read = read_score,
    list_ports: Callable[[], Sequence[str]] = tuple,
    progress_of: ProgressOf | None = None,
    drills: Shelves | None = None,
    takes: Takes | None = None,
    first_start: bool = False,
    save: Callable[[], None] = lambda: None,
    size: tuple[int, int] | None = None,
    stop: Callable[[], bool] = lambda: False,
    clock_s: Callable[[], float] = time.monotonic,
) -> int:
    """Show the window until the player leaves it. To be called in the main thread.

    Args:
        listener: publishes snapshots, takes commands.
        settings: a mapping the window keeps its own things in, or an object with one as `window`.
        cache_dir: folder for engraved pages and the music font.
        score_path: the score's file; saved anew, it is read anew (command "arrangement").
        text: its MusicXML with note ids, read from the file where not given.
        read: how a score is read again.
        list_ports: names of the keyboards there are.
        progress_of: reads an arrangement's progress over the days; called on a thread of its own.
        drills: reads and keeps drills, likewise. takes: lists and reads kept takes, likewise.
        first_start: ask for the keyboard first.
        save: called after `settings` changed.
        size: of the window, pixels; the last one used if not given.
        stop: asked every frame; true closes the window.

    Returns:
        0 once the window is closed.
    """
    kept: MutableMapping[str, Any] = getattr(settings, "window", settings)
    screen = Screen(
        listener,
        kept,
        cache_dir,
        Path(score_path),
        read,
        list_ports,
        save,
        clock_s,
        progress_of,
        drills,
        takes,
    )
    try:
        screen.open(size, first_start, text)
        while not stop() and screen.step():
            screen.rest()
    finally:
        screen.close()
    return 0


class Screen:
    """The window's own loop, one `step` a frame."""

    def __init__(
        self,
        listener: ListensAndObeys,
        settings: MutableMapping[str, Any],
        cache_dir: Path,
        score_path: Path,
        read: Read = read_score,
        list_ports: Callable[[], Sequence[str]] = tuple,
        save: Callable[[], None] = lambda: None,
        clock_s: Callable[[], float] = time.monotonic,
        progress_of: ProgressOf | None = None,
        drills: Shelves | None = None,
        takes: Takes | None = None,
    ) -> None:
        self._listener, self._settings, self._save = listener, settings, save
        #: Fingering set since the score was opened, by the head's id.
        self._fingered: dict[str, str] = {}
        self._cache_dir, self._score_path, self._read = cache_dir, score_path, read
        self._list_ports, self._clock_s = list_ports, clock_s
        self._engraver = Engraver(cache_dir)
        self._desk = DeskState(self._engraver)
        self._sheet = Sheet()
        self._canvas = Canvas(Painter(self._sheet), clock_s)
        self._watch = ScoreWatch(score_path, read)
        self._frames = pygame.time.Clock()
        self._piano = SmallPiano()
        self._ports_asked_s = -1e9
        self._soft_down = False
        self._text = ""
        self._score_text = ReadAside[str]()
        self._asides = Asides(progress_of, drills, takes, listener.tell)
        self._snapshot: Snapshot | None = None
        self._saved: ScoreRead | None = None
        self._made_ahead: object = None
        self._changed_s = -1e9
        self.view = View(listener.snapshot(), preferences=read_preferences(settings.get("window")))

    def open(self, size: tuple[int, int] | None, first_start: bool = False, text: str = "") -> None:
        """Make the window and ask for the page."""
        # SDL's hint: real pixels on Windows screens that are scaled, not magnified ones
        os.environ.setdefault("SDL_WINDOWS_DPI_AWARENESS", "permonitorv2")
        pygame.display.init()
        pygame.key.set_repeat()
        use_music_font(self._cache_dir)
        title = self.view.snapshot.arrangement.title
        pygame.display.set_caption(f"{title} – Undersong")
        self._surface = pygame.display.set_mode(size or self._last_size(), pygame.RESIZABLE)
        if self.view.preferences.again_by != "off":
            self._listener.tell(Command("gesture", name=self.view.preferences.again_by))
        if text:
            self._open_text(text)
        else:
            self._score_text.start(lambda: engravable_text(self._score_path))
        rescue = self._settings.get("rescue", {}).get(str(self._score_path), [])
        self.view = replace(
            self.view,
            rescue_bars=tuple(b for b in rescue if isinstance(b, int)),
            overlay="welcome" if first_start else "",
        )

    def _open_text(self, text: str) -> None:
        self._text = text
        self._desk.open_text(with_fingering(text, self._fingered))

    def _take_text(self) -> None:
        text = self._score_text.poll()
        if isinstance(text, Trouble):
            self.view = replace(self.view, note=text.words)
        elif text is not None:
            self._open_text(text)

    def close(self) -> None:
        """Keep the settings, end what was started."""
        self._tell(self._piano.release_all())
        self._keep_settings()
        self._sheet.close()
        self._engraver.close()
        pygame.display.quit()

    def step(self) -> bool:
        """One frame: events, the newest snapshot, what came of the page, paint. False to leave."""
        going_on = [self._handle(event) for event in pygame.event.get()]
        now_s = self._clock_s()
        self._take_snapshot(self._listener.snapshot())
        self._take_text()
        self.view = self._asides.attend(self.view)
        self._take_score(self._watch.poll(now_s))
        self._ask_ports(now_s)
        size = self._surface.get_size()
        parts = self._canvas.parts(self.view, size)
        self.view = self._desk.step(self.view, parts, now_s)
        self._sheet.use(self.view.page.score if self.view.page else None)
        self._sheet.collect()
        rects = self._canvas.draw(self._surface, self.view)
        if self._canvas.fault and self._canvas.fault != self.view.note:
            self.view = replace(self.view, note=self._canvas.fault)
        self._make_ahead(parts)
        if rects:
            pygame.display.update(rects)
        return all(going_on)

    def _make_ahead(self, parts: Parts) -> None:
        """Ask for the systems of the lines to come, so that they are there when the page turns."""
        view = self.view
        shown = (view.slots, view.snapshot.hands, view.preferences.theme, id(view.page))
        if view.page is None or shown == self._made_ahead or not view.page_fits:
            return
        self._made_ahead = shown
        lines = [slot for slot in view.slots if slot is not None]
        _, px = slot_plan(view.page, parts, view.performing)
        lit, _ = tints(view, THEMES[view.preferences.theme])
        order = view.page.order_of_reading(view.snapshot.span, max(lines, default=0))
        for line in order[1 : 1 + len(view.slots)]:
            self._sheet.surface(view.page.lines[line].system, lit, px)

    def rest(self) -> None:
        """Wait for the next frame."""
        self._frames.tick(FRAMES_PER_S)

    def _last_size(self) -> tuple[int, int]:
        """The size the window had, or the first one; never larger than the screen there is."""
        kept, size = self._settings.get("size"), FIRST_SIZE
        if isinstance(kept, list) and len(kept) == 2 and all(isinstance(v, int) for v in kept):
            size = max(kept[0], SMALLEST_SIZE[0]), max(kept[1], SMALLEST_SIZE[1])
        width, height = pygame.display.get_desktop_sizes()[0]
        return min(size[0], width), min(size[1], height)

    # what comes in

    def _take_snapshot(self, snapshot: Snapshot) -> None:
        if snapshot is self._snapshot:
            return
        before, self._snapshot = self._snapshot, snapshot
        view = replace(self.view, snapshot=snapshot)
        if self._saved is not None and snapshot.arrangement is self._saved.arrangement:
            self._open_text(self._saved.text)
            self._saved = None
        if before is not None and len(snapshot.passes) > len(before.passes):
            view = replace(view, looked_at=snapshot.passes[-1].number)
        if before is not None and snapshot.state != before.state:
            view = self._forget_changes(view)
        if before is not None and snapshot.said != before.said:
            view = replace(view, note=snapshot.said)
        if view.overlay == "welcome" and snapshot.notes:
            view = replace(view, heard_test=snapshot.notes[-1].pitch)
        self.view = view
        self._hear_soft_pedal(snapshot)

    def _forget_changes(self, view: View) -> View:
        """Between passes, once the changed bars have been on the screen long enough to be seen."""
        if self._clock_s() - self._changed_s < CHANGES_SHOWN_S:
            return view
        return replace(view, changed_bars=frozenset(), note="")

    def _hear_soft_pedal(self, snapshot: Snapshot) -> None:
        """The soft pedal turns pages in the performance view."""
        moves = [m for m in snapshot.pedals if m.controller == SOFT]
        down = bool(moves) and moves[-1].value >= _PEDAL_DOWN
        if down and not self._soft_down and self.view.performing:
            self._take(act_on(self.view, "page-on"))
        self._soft_down = down

    def _take_score(self, came: ScoreRead | None) -> None:
        if came is None:
            return
        if came.arrangement is None:
            self.view = replace(self.view, note=came.trouble)
            return
        changed = changed_bars(self.view.snapshot.arrangement, came.arrangement)
        self._saved = came
        self._listener.tell(Command("arrangement", extra={"arrangement": came.arrangement}))
        self._changed_s = self._clock_s()
        count = len(changed)
        note = f"Saved score taken over, {count} bar{'' if count == 1 else 's'} changed"
        self.view = replace(self.view, changed_bars=changed, note=note)

    def _ask_ports(self, now_s: float) -> None:
        if self.view.overlay and now_s - self._ports_asked_s >= _PORTS_EVERY_S:
            self._ports_asked_s = now_s
            self.view = replace(self.view, ports=tuple(self._list_ports()))

    # events

    def _handle(self, event: pygame.event.Event) -> bool:
        if event.type == pygame.QUIT:
            self._listener.tell(Command("quit"))
            return False
        if event.type == pygame.KEYDOWN:
            return self._key_down(event)
        if event.type == pygame.KEYUP:
            self._tell(self._piano.release(pygame.key.name(event.key)))
        elif event.type == pygame.TEXTINPUT:
            self.view = type_text(self.view, event.text)
        elif event.type == pygame.WINDOWFOCUSLOST:
            self._tell(self._piano.release_all())
        elif event.type == pygame.MOUSEWHEEL:
            return self._take(turn_wheel(self.view, event.y))
        elif event.type in (pygame.MOUSEBUTTONDOWN, pygame.MOUSEBUTTONUP) and event.button == 1:
            return self._mouse(event)
        elif event.type in (pygame.VIDEORESIZE, pygame.WINDOWEXPOSED):
            self._look_again()
        return True

    def _look_again(self) -> None:
        """The window has another size, or was uncovered: everything is painted anew."""
        self._surface = pygame.display.get_surface()
        self._canvas.start_over()

    def _key_down(self, event: pygame.event.Event) -> bool:
        key = pygame.key.name(event.key)
        if event.mod & (pygame.KMOD_CTRL | pygame.KMOD_META):
            return self._take(act_on(self.view, WITH_CONTROL.get(key, "")))
        if event.mod & pygame.KMOD_ALT:
            return True
        struck = self._piano.press(self.view, key, event.scancode)
        if struck is not None:
            self._tell(struck)
            return True
        return self._take(press_key(self.view, Press(key, bool(event.mod & pygame.KMOD_SHIFT))))

    def _tell(self, commands: Sequence[Command]) -> None:
        for command in commands:
            self._listener.tell(command)

    def _mouse(self, event: pygame.event.Event) -> bool:
        parts = self._canvas.parts(self.view, self._surface.get_size())
        if event.type == pygame.MOUSEBUTTONDOWN:
            shift = bool(pygame.key.get_mods() & pygame.KMOD_SHIFT)
            return self._take(press_mouse(self.view, parts, event.pos, shift))
        return self._take(release_mouse(self.view, parts, event.pos))

    def _take(self, outcome: Outcome) -> bool:
        """The view after an action, its commands told; False to leave."""
        before, self.view = self.view, outcome.view
        if before.note and outcome.view.note == before.note:
            self.view = replace(self.view, note="")  # read by now; what is done next speaks
        for command in outcome.commands:
            if command.kind == "fingering":
                self._set_fingering(command)
            self._listener.tell(command)
        if outcome.fullscreen:
            with warnings.catch_warnings():  # some drivers make the window anew, and say so
                warnings.simplefilter("ignore")
                pygame.display.toggle_fullscreen()
            self._look_again()
        if (
            before.preferences != self.view.preferences
            or before.rescue_bars != self.view.rescue_bars
        ):
            self._keep_settings()
        return not outcome.leave

    def _set_fingering(self, command: Command) -> None:
        """Shown at once; the listener keeps it beside the score, where it is read next time."""
        self._fingered[command.extra["note_id"]] = command.extra["fingering"]
        self._desk.open_text(with_fingering(self._text, self._fingered))

    def _keep_settings(self) -> None:
        self._settings["window"] = write_preferences(self.view.preferences)
        rescue = dict(self._settings.get("rescue", {}))
        rescue[str(self._score_path)] = list(self.view.rescue_bars)
        self._settings["rescue"] = rescue
        if pygame.display.get_surface() is not None:
            self._settings["size"] = list(pygame.display.get_surface().get_size())
        self._save()
