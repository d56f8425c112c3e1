"""What overlays read and write beside the frames: progress over the days, the drills kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

from engine.arrangement import Arrangement
from engine.drill import DrillSheet
from practice.drills.offers import Shelf
from practice.progress.progress import Progress
from practice.window.drill_choice import take_shelf
from practice.window.read_aside import ReadAside, Trouble
from practice.window.view import Overlay, View

ProgressOf = Callable[[Arrangement], Progress]


class Shelves(Protocol):
    """Where drills are kept; both may take their time."""

    def read(self, arrangement: Arrangement) -> Shelf:
        """What there is for an arrangement."""
        ...

    def keep(self, name: str, sheet: DrillSheet) -> None:
        """Save a drill under a name."""
        ...


class Asides:
    """Looks at the view once a frame, reads and writes what it asks for, and tells it.

    Args:
        progress_of: reads an arrangement's progress; None where no takes are kept.
        shelf: the drills kept; None where none are.
    """

    def __init__(self, progress_of: ProgressOf | None, shelf: Shelves | None) -> None:
        self._progress_of, self._shelf = progress_of, shelf
        self._progress, self._drills = ReadAside[Progress](), ReadAside[Shelf]()
        self._overlay: Overlay = ""

    def attend(self, view: View) -> View:
        """The view with what has come since."""
        opened, self._overlay = view.overlay != self._overlay, view.overlay
        if opened and view.overlay == "progress":
            view = self._ask_progress(view)
        if view.drills.wanted or view.drills.saving:
            view = self._ask_drills(view)
        return self._take_drills(self._take_progress(view))

    def _ask_progress(self, view: View) -> View:
        progress_of, arrangement = self._progress_of, view.snapshot.arrangement
        if progress_of:
            self._progress.start(lambda: progress_of(arrangement))
        trouble = "" if progress_of else "No takes are kept here"
        return replace(view, progress=None, progress_trouble=trouble)

    def _take_progress(self, view: View) -> View:
        came = self._progress.poll()
        if isinstance(came, Trouble):
            return replace(view, progress_trouble=came.words)
        return view if came is None else replace(view, progress=came)

    def _ask_drills(self, view: View) -> View:
        """What is to be saved is saved first, and what is read then has it."""
        saving, shelf, arrangement = view.drills.saving, self._shelf, view.snapshot.arrangement
        view = replace(view, drills=replace(view.drills, wanted=False, saving=None))
        if shelf is None:
            return replace(view, note="No drills are kept here") if saving else view

        def do() -> Shelf:
            if saving:
                shelf.keep(*saving)
            return shelf.read(arrangement)

        self._drills.start(do)
        return view

    def _take_drills(self, view: View) -> View:
        came = self._drills.poll()
        if came is None or view.overlay != "drills":
            return view
        if isinstance(came, Trouble):
            return replace(view, note=came.words, drills=replace(view.drills, sought=""))
        name = view.drills.sought
        said = f"Saved as “{name}”" if name else view.note
        return replace(take_shelf(view, came), note=said)
