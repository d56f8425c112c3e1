"""What overlays read and write beside the frames: progress over the days, the drills kept."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Protocol

from engine.arrangement import Arrangement
from engine.drill import DrillSheet
from practice.drills.offers import Shelf
from practice.listen.kept_hearing import KeptHearing
from practice.listen.take_list import TakeRow
from practice.progress.progress import Progress
from practice.snapshot import Command
from practice.window.drill_choice import take_shelf
from practice.window.read_aside import ReadAside, Trouble
from practice.window.take_choice import TakeChoice
from practice.window.view import Overlay, View

ProgressOf = Callable[[Arrangement], Progress]


class Shelves(Protocol):
    """Where drills are kept; all may take their time."""

    def read(self, arrangement: Arrangement) -> Shelf:
        """What there is for an arrangement."""
        ...

    def keep(self, name: str, sheet: DrillSheet) -> None:
        """Save a drill under a name."""
        ...

    def rename(self, old: str, new: str, sheet: DrillSheet) -> None:
        """Keep a drill under another name than before."""
        ...

    def delete(self, name: str) -> None:
        """Let go of a drill."""
        ...


class Takes(Protocol):
    """Where takes are kept; both may take their time."""

    def list_takes(self, arrangement: Arrangement) -> tuple[TakeRow, ...]:
        """Those of an arrangement."""
        ...

    def read(self, arrangement: Arrangement, numbers: Sequence[int]) -> tuple[KeptHearing, ...]:
        """Takes to be heard."""
        ...


class Asides:
    """Looks at the view once a frame, reads and writes what it asks for, and tells it.

    Args:
        progress_of: reads an arrangement's progress; None where no takes are kept.
        shelf: the drills kept; None where none are. takes: likewise.
        tell: puts a command into the listener's queue.
    """

    def __init__(
        self, progress_of: ProgressOf | None, shelf: Shelves | None, takes: Takes | None,
        tell: Callable[[Command], None],
    ) -> None:  # fmt: skip
        self._takes, self._tell = takes, tell
        self._listed = ReadAside[tuple[TakeRow, ...]]()
        self._heard = ReadAside[tuple[KeptHearing, ...]]()
        self._progress_of, self._shelf = progress_of, shelf
        self._progress, self._drills = ReadAside[Progress](), ReadAside[Shelf]()
        self._overlay: Overlay = ""

    def attend(self, view: View) -> View:
        """The view with what has come since."""
        opened, self._overlay = view.overlay != self._overlay, view.overlay
        if opened and view.overlay == "progress":
            view = self._ask_progress(view)
        if view.drills.wanted or view.drills.saving or view.drills.dropping:
            view = self._ask_drills(view)
        if view.takes.wanted or view.takes.hear:
            view = self._ask_takes(view)
        return self._take_takes(self._take_drills(self._take_progress(view)))

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

    def _ask_takes(self, view: View) -> View:
        """The list of takes, or those that are to be heard."""
        takes, arrangement, numbers = self._takes, view.snapshot.arrangement, view.takes.hear
        asked = replace(view.takes, wanted=False, hear=())
        if takes is None:
            return replace(view, takes=replace(asked, rows=(), trouble="No takes are kept here"))
        if numbers:
            self._heard.start(lambda: takes.read(arrangement, numbers))
        else:
            self._listed.start(lambda: takes.list_takes(arrangement))
        return replace(view, takes=asked)

    def _take_takes(self, view: View) -> View:
        listed, heard = self._listed.poll(), self._heard.poll()
        if isinstance(listed, Trouble):
            view = replace(view, takes=TakeChoice(rows=(), trouble=listed.words))
        elif listed is not None:
            view = replace(view, takes=replace(view.takes, rows=listed))
        if isinstance(heard, Trouble):
            return replace(view, note=heard.words)
        if heard is None:
            return view
        if view.playing:  # a pass begun meanwhile is not broken off
            return replace(view, note="The take is not played: you are playing")
        self._tell(Command("listen", extra={"takes": heard}))
        return replace(view, note="")

    def _ask_drills(self, view: View) -> View:
        """What is to be saved, renamed or deleted is so first, and what is read then shows it."""
        drills, shelf, arrangement = view.drills, self._shelf, view.snapshot.arrangement
        saving, dropping = drills.saving, drills.dropping
        view = replace(view, drills=replace(drills, wanted=False, saving=None, dropping=""))
        if shelf is None:
            return replace(view, note="No drills are kept here") if saving else view

        def do() -> Shelf:
            if saving and drills.renamed:
                shelf.rename(drills.renamed, *saving)
            elif saving:
                shelf.keep(*saving)
            if dropping:
                shelf.delete(dropping)
            return shelf.read(arrangement)

        self._drills.start(do)
        return view

    def _take_drills(self, view: View) -> View:
        came = self._drills.poll()
        if came is None or view.overlay != "drills":
            return view
        if isinstance(came, Trouble):
            drills = replace(view.drills, sought="", dropped="", renamed="")
            return replace(view, note=came.words, drills=drills)
        said = view.note
        if view.drills.renamed:
            said = f"“{view.drills.renamed}” is now called “{view.drills.sought}”"
        elif view.drills.sought:
            said = f"Saved as “{view.drills.sought}”"
        elif view.drills.dropped:
            said = f"“{view.drills.dropped}” is deleted"
        return replace(take_shelf(view, came), note=said)
