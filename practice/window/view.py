"""All that is on the screen, as one immutable value: `compose` needs nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from engine.drill.sheet import Gesture
from practice.snapshot import PassRecord, Snapshot
from practice.window.drill_choice import DrillChoice
from practice.window.page import Page
from practice.window.take_choice import TakeChoice
from practice.window.theme import ThemeName
from practice.window.turning import Slots

if TYPE_CHECKING:
    from practice.progress.progress import Progress

Overlay = Literal["", "settings", "help", "welcome", "progress", "drills", "takes"]
#: Which slips and marks the Desk shows after a pass.
Looking = Literal["pass", "average"]


@dataclass(frozen=True, slots=True)
class Preferences:
    """What the player has set for the window.

    Attributes:
        scale: 0.75 to 2. theme: light or dark.
        marks_while_playing: "quiet" (a tick beside each head heard) or "none".
        see_pulse: the strict pulse is shown as well as heard.
        average_of: how many passes "what usually happens here" takes in.
        again_by: what at the instrument means "again": off, soft-pedal or lowest-key.
        keys: actions by key name, as the player has changed them.
    """

    scale: float = 1.0
    theme: ThemeName = "light"
    marks_while_playing: Literal["quiet", "none"] = "quiet"
    see_pulse: bool = True
    average_of: int = 5
    again_by: Gesture = "off"
    keys: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class View:
    """What is to be drawn.

    Attributes:
        snapshot: the session. page: the engraved page, None until the first system is there.
        slots: lines of the page by slot of the Desk.
        preferences: as set.
        looked_at: number of the pass whose marks are shown, 0 for none.
        looking: that pass alone, or the average of the passes up to it.
        overlay: what lies over the parts; row: its chosen row, or the first one shown.
        progress: of the arrangement over the days, once it was asked for and has been read;
            progress_trouble: why it could not be.
        drills: what the sheet of drills shows. takes: what the sheet of kept takes shows.
        ports: keyboards there are, for the overlays.
        note: one line from the window itself (engraving, reading the score again).
        changed_bars: written bars that the last reading of the score changed.
        rescue_bars: unfolded bars the player has marked to restart from.
        performing: clean pages only. side_open: in a small window, Wheel and Account shown.
        wide_desk: Wheel and Account put away.
        fingered: index of the note whose fingering is being set, None otherwise.
        anchor_bar: first bar of a span being chosen, None otherwise.
        heard_test: pitch of the note played to check the keyboard at first start, 0 before.
        rebinding: the action that waits for a new key, "" otherwise.
        bind_choice: which action the settings' row of keys is at.
        peeking: playing from memory, the page is shown all the same.
        spoken_of: (pass, index) of slips the player has said a word on, the last one last.
        heard: score notes on the screen that have been heard right in the pass under way.
    """

    snapshot: Snapshot
    page: Page | None = None
    slots: Slots = (None, None)
    preferences: Preferences = field(default_factory=Preferences)
    looked_at: int = 0
    looking: Looking = "pass"
    overlay: Overlay = ""
    row: int = 0
    ports: tuple[str, ...] = ()
    note: str = ""
    changed_bars: frozenset[int] = frozenset()
    rescue_bars: tuple[int, ...] = ()
    performing: bool = False
    side_open: bool = False
    wide_desk: bool = False
    fingered: int | None = None
    anchor_bar: int | None = None
    heard_test: int = 0
    rebinding: str = ""
    bind_choice: int = 0
    peeking: bool = False
    spoken_of: tuple[tuple[int, int], ...] = ()
    heard: frozenset[int] = frozenset()
    progress: Progress | None = None
    progress_trouble: str = ""
    drills: DrillChoice = field(default_factory=DrillChoice)
    takes: TakeChoice = field(default_factory=TakeChoice)

    @property
    def playing(self) -> bool:
        """A pass is under way: the page is quiet."""
        return self.snapshot.state in ("playing", "count-in")

    @property
    def page_fits(self) -> bool:
        """There is a page, and it is of the arrangement practised (not of one saved before)."""
        return self.page is not None and self.page.arrangement is self.snapshot.arrangement

    @property
    def record(self) -> PassRecord | None:
        """The pass looked at."""
        for record in reversed(self.snapshot.passes):
            if record.number == self.looked_at:
                return record
        return None

    @property
    def told(self) -> PassRecord | None:
        """The pass the Account tells of: the one looked at, otherwise the last."""
        passes = self.snapshot.passes
        return self.record or (passes[-1] if passes else None)

    @property
    def averaged(self) -> tuple[PassRecord, ...]:
        """The passes the marks are made from: the one looked at, or the last few up to it."""
        record = self.record
        if record is None:
            return ()
        if self.looking == "pass":
            return (record,)
        alike = [
            r
            for r in self.snapshot.passes
            if r.number <= record.number and r.hands == record.hands and r.notes
        ]
        return tuple(alike[-self.preferences.average_of :])
