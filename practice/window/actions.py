"""What each action does to the view, and what it asks of the session. Pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from engine.arrangement import Hands, Span
from practice.snapshot import Command
from practice.window.drill_choice import open_drills
from practice.window.form_map import sections_of
from practice.window.preferences import SCALE_STEP, clamp_scale
from practice.window.slip_words import slips_alike
from practice.window.take_choice import open_takes
from practice.window.theme import ThemeName
from practice.window.view import View
from practice.window.why_not import why_not

SLOWEST, FASTEST, RATE_STEP = 0.25, 1.5, 0.05
_NEXT_HANDS: dict[Hands, Hands] = {"both": "right", "right": "left", "left": "both"}


@dataclass(frozen=True, slots=True)
class Outcome:
    """The view afterwards, what the session is told, and what only the window itself can do."""

    view: View
    commands: tuple[Command, ...] = ()
    leave: bool = False
    fullscreen: bool = False


Act = Callable[[View], Outcome]


def act_on(view: View, action: str) -> Outcome:
    """Do an action by name, or say why there is nothing to do; an unknown one does nothing."""
    act = _ACTS.get(action)
    why = why_not(view, action)
    if why:
        return Outcome(replace(view, note=why))
    return act(view) if act else Outcome(view)


def _say(view: View, note: str) -> Outcome:
    """Nothing but a line."""
    return Outcome(replace(view, note=note))


def _tell(kind: str, **more: Any) -> Act:
    return lambda view: Outcome(view, (Command(kind, **more),))


def choose_span(view: View, span: Span) -> Outcome:
    """Another span, told to the session."""
    return Outcome(replace(view, anchor_bar=None), (Command("span", span=span),))


def section_span(view: View, bar: int) -> Span:
    """The section that holds a bar."""
    for section in sections_of(view.snapshot.arrangement):
        if section.from_bar <= bar < section.to_bar:
            return Span(section.from_bar, section.to_bar - 1)
    return Span(bar, bar)


def _move_span(view: View, step: int) -> Outcome:
    sections = sections_of(view.snapshot.arrangement)
    bar = view.snapshot.span.from_bar
    now = next((k for k, s in enumerate(sections) if s.from_bar <= bar < s.to_bar), 0)
    whole = section_span(view, bar)
    if view.snapshot.span != whole and step < 0:
        step = 0 if view.snapshot.span.from_bar > whole.from_bar else step
    target = sections[min(max(now + step, 0), len(sections) - 1)]
    return _choose_another(view, Span(target.from_bar, target.to_bar - 1), "section")


def _choose_another(view: View, span: Span, what: str) -> Outcome:
    """A span, where it is another; else the same pass and drill go on, and a line says why."""
    if span != view.snapshot.span:
        return choose_span(view, span)
    if len(view.snapshot.arrangement.bars) == span.to_bar - span.from_bar + 1:
        return _say(view, "The span is the whole piece")
    if what == "bar" and span.from_bar == span.to_bar:
        return _say(view, "The span is a single bar already")
    return _say(view, f"There is no {what} beyond this one")


def _resize_span(view: View, step: int) -> Outcome:
    span, bars = view.snapshot.span, view.snapshot.arrangement.bars
    to_bar = min(max(span.to_bar + step, span.from_bar), len(bars) - 1)
    return _choose_another(view, Span(span.from_bar, to_bar), "bar")


def _whole(view: View) -> Outcome:
    return _choose_another(view, Span(0, len(view.snapshot.arrangement.bars) - 1), "bar")


def _round_slip(view: View) -> Outcome:
    """A span of the bar with the first slip and the bars on both sides, so that joins are in it."""
    record = view.record
    scores = [s.score for s in record.slips if s.score is not None] if record else []
    if not scores:
        return _say(view, "No slip in the pass shown to make a span round")
    arrangement = view.snapshot.arrangement
    bar = arrangement.notes[min(scores)].bar
    return choose_span(view, Span(max(0, bar - 1), min(len(arrangement.bars) - 1, bar + 1)))


def _hands(view: View) -> Outcome:
    return Outcome(view, (Command("hands", hands=_NEXT_HANDS[view.snapshot.hands]),))


def _pulse(view: View) -> Outcome:
    strict = view.snapshot.pulse_kind == "free"
    return Outcome(view, (Command("pulse", pulse_kind="strict" if strict else "free"),))


def _rate(step: float) -> Act:
    def act(view: View) -> Outcome:
        rate = min(max(round(view.snapshot.rate + step, 2), SLOWEST), FASTEST)
        if rate == view.snapshot.rate:
            return _say(view, f"It goes no {'slower' if step < 0 else 'faster'}")
        note = view.note
        if view.snapshot.pulse_kind == "free" and not view.snapshot.only_heard:
            note = f"Your own pace counts; a strict pulse, and the page played: {rate:.0%}"
        return Outcome(replace(view, note=note), (Command("rate", rate=rate),))

    return act


def _listen(view: View) -> Outcome:
    return Outcome(view, (Command("hush" if view.snapshot.state == "listening" else "listen"),))


def _hear_again(view: View) -> Outcome:
    """The pass that is looked at, or the last one; again to hush."""
    if view.snapshot.state == "listening":
        return Outcome(view, (Command("hush"),))
    record = view.told
    if record is None:
        return Outcome(view)
    if not record.notes:
        return _say(view, "Of this pass no notes are held any longer: r has the kept takes")
    return Outcome(view, (Command("listen", extra={"pass": record}),))


def _keep(view: View) -> Outcome:
    record = view.told
    if record is None:
        return Outcome(replace(view, note="No pass to keep yet"))
    if not record.take:
        return Outcome(replace(view, note="Nothing of this pass is stored, so it cannot be marked"))
    note = f"Take {record.take} is marked as one to keep"
    return Outcome(replace(view, note=note), (Command("keep", pass_number=record.number),))


def _speak_of_slip(kind: str) -> Act:
    """A word on the first slip the Account tells of; said again, on the next one."""

    def act(view: View) -> Outcome:
        record = view.told
        if record is None:
            return Outcome(view)
        lines = slips_alike(view.snapshot.arrangement, record).values()
        left = (one for one in lines if (record.number, one[0]) not in view.spoken_of)
        slip = next(left, None)
        if slip is None:
            why = (
                "A word is kept on every slip of this pass"
                if record.slips
                else "No slips to speak of"
            )
            return Outcome(replace(view, note=why))
        spoken_of = (*view.spoken_of, *((record.number, index) for index in slip))
        told = Command(kind, pass_number=record.number, slip=slip[0])
        return Outcome(replace(view, spoken_of=spoken_of), (told,))

    return act


def _unsay(view: View) -> Outcome:
    """The last word on a slip is taken back; the slip can then be spoken of again."""
    record = view.told
    if record is None:
        return Outcome(view)
    if not view.spoken_of:
        return Outcome(replace(view, note="No word was said of a slip"))
    number, last = view.spoken_of[-1]
    lines = (
        slips_alike(view.snapshot.arrangement, record).values() if number == record.number else ()
    )
    alike = next((one for one in lines if last in one), (last,))
    left = tuple(s for s in view.spoken_of if s[0] != number or s[1] not in alike)
    return Outcome(replace(view, spoken_of=left), (Command("unsay"),))


def _look(step: int) -> Act:
    def act(view: View) -> Outcome:
        numbers = [r.number for r in view.snapshot.passes if r.notes]  # older ones: in the store
        if not numbers:
            return Outcome(view)
        at = numbers.index(view.looked_at) if view.looked_at in numbers else len(numbers)
        if not 0 <= at + step < len(numbers):
            return _say(view, f"No pass {'before' if step < 0 else 'after'} this one to look at")
        at += step
        return Outcome(replace(view, looked_at=numbers[at]))

    return act


def _average(view: View) -> Outcome:
    return Outcome(replace(view, looking="pass" if view.looking == "average" else "average"))


def _turn(step: int) -> Act:
    def act(view: View) -> Outcome:
        shown = [line for line in view.slots if line is not None]
        if view.page is None or not shown:
            return Outcome(view)
        count, total = len(view.slots), len(view.page.lines)
        start = max(shown) + 1 if step > 0 else min(shown) - count
        if start >= total or (step < 0 and min(shown) == 0):
            return _say(view, "This is the last page" if step > 0 else "This is the first page")
        start = max(start, 0)
        lines = [start + k if start + k < total else None for k in range(count)]
        return Outcome(replace(view, slots=tuple(lines)))

    return act


def _side(view: View) -> Outcome:
    """In a wide window the side goes and comes; in a small one it changes places with the page."""
    if view.wide_desk:
        return Outcome(replace(view, wide_desk=False, side_open=False))
    return Outcome(replace(view, side_open=not view.side_open, wide_desk=False))


def _perform(view: View) -> Outcome:
    return Outcome(replace(view, performing=not view.performing, overlay=""))


def _rescue(view: View) -> Outcome:
    """A rescue point at the bar being heard, or at the span's first bar; away if it is there."""
    snapshot = view.snapshot
    bar = snapshot.span.from_bar
    if snapshot.place_q is not None:
        bar = snapshot.arrangement.bar_at(snapshot.place_q).index
    bars = set(view.rescue_bars) ^ {bar}
    return Outcome(replace(view, rescue_bars=tuple(sorted(bars))))


def go_to_rescue(view: View, number: int) -> Outcome:
    """Turn to the line of a rescue point, by its number from 1."""
    if not 1 <= number <= len(view.rescue_bars):
        return _say(view, f"There is no rescue point {number}")
    if view.page is None:
        return Outcome(view)
    line = view.page.line_of_bar(view.rescue_bars[number - 1])
    if line is None:
        return Outcome(view)
    total = len(view.page.lines)
    lines = [line.index + k if line.index + k < total else None for k in range(len(view.slots))]
    return Outcome(replace(view, slots=tuple(lines)))


def _finger(view: View) -> Outcome:
    if view.fingered is not None:
        return Outcome(replace(view, fingered=None))
    snapshot = view.snapshot
    for index, note in enumerate(snapshot.arrangement.notes):
        whose = snapshot.hands in ("both", note.hand)
        if note.bar >= snapshot.span.from_bar and whose:
            return Outcome(replace(view, fingered=index))
    return _say(view, "No note of this hand from here on to finger")


def move_finger(view: View, step: int) -> View:
    """The next note of the same hand in order of playing, or the one before."""
    if view.fingered is None:
        return view
    notes = view.snapshot.arrangement.notes
    index = view.fingered + step
    while 0 <= index < len(notes):
        if notes[index].hand == notes[view.fingered].hand:
            return replace(view, fingered=index)
        index += step
    return view


def _theme(view: View) -> Outcome:
    other: ThemeName = "dark" if view.preferences.theme == "light" else "light"
    return Outcome(replace(view, preferences=replace(view.preferences, theme=other)))


def _scale(step: float) -> Act:
    def act(view: View) -> Outcome:
        scale = clamp_scale(view.preferences.scale + step)
        if scale == view.preferences.scale:
            return _say(view, f"As {'large' if step > 0 else 'small'} as it goes")
        return Outcome(replace(view, preferences=replace(view.preferences, scale=scale)))

    return act


def _overlay(name: str) -> Act:
    def act(view: View) -> Outcome:
        opened = "" if view.overlay == name else name
        return Outcome(replace(view, overlay=opened, row=0))  # type: ignore[arg-type]

    return act


def _leave(view: View) -> Outcome:
    """One step back: from what is open, or out."""
    if view.overlay:
        return Outcome(replace(view, overlay="", rebinding=""))
    if view.fingered is not None:
        return Outcome(replace(view, fingered=None))
    if view.performing:
        return Outcome(replace(view, performing=False))
    if view.side_open or view.wide_desk:
        return Outcome(replace(view, side_open=False, wide_desk=False))
    return Outcome(view, (Command("quit"),), leave=True)


_ACTS: dict[str, Act] = {
    "again": _tell("again"),
    "stop": _tell("stop"),
    "listen": _listen,
    "hear-again": _hear_again,
    "pulse": _pulse,
    "slower": _rate(-RATE_STEP),
    "faster": _rate(RATE_STEP),
    "next": _tell("next"),
    "keep": _keep,
    "page-wrong": _speak_of_slip("page-wrong"),
    "meant-that": _speak_of_slip("meant-that"),
    "unsay": _unsay,
    "hands": _hands,
    "span-left": lambda view: _move_span(view, -1),
    "span-right": lambda view: _move_span(view, 1),
    "span-shorter": lambda view: _resize_span(view, -1),
    "span-longer": lambda view: _resize_span(view, 1),
    "span-slip": _round_slip,
    "span-all": _whole,
    "pass-before": _look(-1),
    "pass-after": _look(1),
    "average": _average,
    "peek": lambda view: Outcome(replace(view, peeking=not view.peeking)),
    "page-back": _turn(-1),
    "page-on": _turn(1),
    "side": _side,
    "perform": _perform,
    "rescue": _rescue,
    "finger": _finger,
    "theme": _theme,
    "smaller": _scale(-SCALE_STEP),
    "larger": _scale(SCALE_STEP),
    "fullscreen": lambda view: Outcome(view, fullscreen=True),
    "settings": _overlay("settings"),
    "help": _overlay("help"),
    "progress": _overlay("progress"),
    "drills": lambda view: Outcome(open_drills(view)),
    "takes": lambda view: Outcome(open_takes(view)),
    "leave": _leave,
}
