"""The Desk between frames: which engraving is asked for, which lines stand in the slots."""

from __future__ import annotations

from dataclasses import replace

from engine.arrangement import Arrangement
from practice.engrave import Engraver, PageLayout
from practice.window.desk import fitting_layout, slot_plan
from practice.window.heard import HeardNotes
from practice.window.page import Page
from practice.window.parts import Parts
from practice.window.turning import open_slots, turn
from practice.window.view import View

#: After a resize the page is engraved anew once the window has kept its size for so long.
SETTLE_S = 0.25
#: While the place is in doubt, so many notes must agree on a line before the page is opened there:
#: one stray key must not turn it.
SURE_NOTES = 4
#: After playing has ended, the beginning of the span comes back onto the page so much later.
COME_ROUND_S = 0.5


def left_hand_ids(arrangement: Arrangement) -> frozenset[str]:
    """Ids of all heads the left hand plays, tied ones too."""
    return frozenset(
        head
        for note in arrangement.notes
        if note.hand == "left"
        for head in (note.note_id, *note.heads)
    )


class DeskState:
    """Brings the view's page and slots up to date, frame by frame."""

    def __init__(self, engraver: Engraver) -> None:
        self._engraver = engraver
        self._text = ""
        self._arrangement: Arrangement | None = None
        self._layout: PageLayout | None = None
        self._wanted: tuple[PageLayout, float] | None = None
        self._heard = HeardNotes()
        self._heard_seen: tuple[object, ...] = (None, None, None)
        self._span_seen: object = None
        self._place: object = None
        self._target: PageLayout | None = None
        #: The line last read in the pass under way, and (line, notes heard) of a doubtful jump.
        self._read: int | None = None
        self._strayed: tuple[int, int] | None = None
        self._ended_s: float | None = None

    def open_text(self, text: str) -> None:
        """The score's text from now on; asked for at the next frame."""
        if text != self._text:
            self._text, self._layout = text, None

    def step(self, view: View, parts: Parts, now_s: float) -> View:
        """The view with what has come of the page, and the page turned where it must be."""
        self._ask(view, parts, now_s)
        self._engraver.poll()
        view = self._take_page(view)
        if view.page is None or not view.page.lines:
            return view
        if not view.page_fits:
            return view
        return self._mark_heard(self._turn(view, parts, now_s))

    def _take_page(self, view: View) -> View:
        """The newest engraving, as soon as it may take the place of what is shown.

        The first one is shown as it comes; a later one (another size, a saved score) when it is
        whole, so that the page never empties under the player's eyes.
        """
        score, old, arrangement = self._engraver.score, view.page, view.snapshot.arrangement
        if score is None:
            return view
        if score.trouble and score.trouble != view.note:
            view = replace(view, note=score.trouble)
        as_it_comes = old is None or old.score.key == score.key or not old.score.systems
        if not score.systems or not (score.done or as_it_comes):
            return view
        known = old is not None and old.score is score and old.arrangement is arrangement
        if known or self._arrangement is not arrangement:
            return view
        page = Page(arrangement, score)
        return replace(view, page=page, slots=self._refit(view, page))

    def _ask(self, view: View, parts: Parts, now_s: float) -> None:
        """Ask for the page where the text, the width or the size has changed, and settled."""
        layout = self._fitting(view, parts)
        arrangement = view.snapshot.arrangement
        if self._layout == layout and self._arrangement is arrangement:
            self._wanted = None
            return
        if not self._text:
            return
        if self._wanted is None or self._wanted[0] != layout:
            self._wanted = (layout, now_s)
        first = self._layout is None or self._arrangement is not arrangement
        if not first and now_s - self._wanted[1] < SETTLE_S:
            return
        self._layout, self._arrangement, self._wanted = layout, arrangement, None
        self._engraver.ask(self._text, left_hand_ids(arrangement), layout)

    def _fitting(self, view: View, parts: Parts) -> PageLayout:
        """The layout for the parts; the page so engraved may ask for another that fits better."""
        place = (parts.desk, parts.space_px, view.performing, id(view.snapshot.arrangement))
        if place != self._place or self._target is None:
            self._place = place
            self._target = fitting_layout(None, parts, view.performing)
        page = view.page
        asked_for = self._layout == self._target
        if asked_for and page and page.score.done and page.score.layout == self._target:
            self._target = fitting_layout(page, parts, view.performing)
        return self._target

    def _refit(self, view: View, page: Page) -> tuple[int | None, ...]:
        """Slots for new systems: those shown stay where only more have come."""
        old = view.page
        if old is not None and old.score.key == page.score.key and view.slots[0] is not None:
            fresh = self._open(view, page, len(view.slots))
            return tuple(b if a is None else a for a, b in zip(view.slots, fresh, strict=False))
        self._span_seen = None
        return (None,) * len(view.slots)

    def _turn(self, view: View, parts: Parts, now_s: float) -> View:
        page, snapshot = view.page, view.snapshot
        assert page is not None
        count, _ = slot_plan(page, parts, view.performing)
        span_seen = (snapshot.span, count, view.performing)
        if len(view.slots) != count or view.slots[0] is None or (
            span_seen != self._span_seen and not view.playing
        ):  # fmt: skip
            view = replace(view, slots=self._open(view, page, count))
            self._span_seen = span_seen
        if snapshot.state in ("playing", "listening"):
            self._ended_s = None
            return self._follow(view, page)
        return self._come_round(view, page, now_s) if not view.playing else view

    def _follow(self, view: View, page: Page) -> View:
        """The page turned to where the player is, once that is sure."""
        snapshot = view.snapshot
        line = page.line_at(snapshot.place_q) if snapshot.place_q is not None else None
        if line is None or snapshot.place_q is None:
            return view
        if line.index not in view.slots and self._is_stray(view, line.index):
            return view
        self._read, self._strayed = line.index, None
        coming = page.order_of_reading(snapshot.span, line.index)[1:]
        share = page.share_of(line, snapshot.place_q)
        return replace(view, slots=turn(view.slots, line.index, share, coming))

    def _is_stray(self, view: View, line: int) -> bool:
        """Whether a line off the screen has too little for it to open the page there."""
        count = len(view.snapshot.notes)
        if self._strayed is None or self._strayed[0] != line or count < self._strayed[1]:
            self._strayed = (line, count)
        return view.snapshot.doubt and count - self._strayed[1] < SURE_NOTES - 1

    def _come_round(self, view: View, page: Page, now_s: float) -> View:
        """Once playing has ended: the line read last stays, the span's first is there again.

        A little later than the marks of the pass: both at once would be too much for a frame.
        """
        if self._ended_s is None:
            self._ended_s = now_s
        if self._read is None or now_s - self._ended_s < COME_ROUND_S:
            return view
        read, self._read, self._strayed = self._read, None, None
        if read not in view.slots:
            return view
        first = page.order_of_reading(view.snapshot.span)[:1]
        if not first or first[0] in view.slots:
            return view
        return replace(view, slots=turn(view.slots, read, 1.0, first))

    def _open(self, view: View, page: Page, count: int) -> tuple[int | None, ...]:
        """The span's first lines; or those round the place, where one is heard."""
        reading = None
        if view.playing and view.snapshot.place_q is not None:
            line = page.line_at(view.snapshot.place_q)
            reading = line.index if line is not None else None
        order = page.order_of_reading(view.snapshot.span, reading)
        unlike = list(dict.fromkeys(order))
        return open_slots(unlike, 0, count)

    def _mark_heard(self, view: View) -> View:
        assert view.page is not None
        if not view.playing:
            self._heard_seen = (None, None, None)
            return replace(view, heard=frozenset()) if view.heard else view
        seen = (view.snapshot.findings, view.slots, view.page)
        if all(a is b for a, b in zip(seen, self._heard_seen, strict=False)):
            return view
        self._heard_seen = seen
        self._heard.update(view.snapshot.findings)
        lines = [
            view.page.lines[k] for k in view.slots if k is not None and k < len(view.page.lines)
        ]
        shown = (note for line in lines for note in view.page.notes_of(line))
        heard = self._heard.right_among(shown)
        return replace(view, heard=heard) if heard != view.heard else view
