"""What to practise and how: the span, the hands, the pulse, how often.

Bars are named by their printed numbers; `@2` means the second time through.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from engine.arrangement import Arrangement, Bar, Hands, Span, whole_span
from engine.drill.sheet import Gesture
from engine.errors import SpanError

SLOWEST_RATE, FASTEST_RATE = 0.05, 4.0
_BARS = re.compile(r"^\s*([^-–@\s]+)\s*(?:[-–]\s*([^-–@\s]+))?\s*(?:@\s*(\d+))?\s*$")
_TEMPO = re.compile(r"^\s*(\d+(?:[.,]\d+)?)\s*(%?)\s*$")
_TYPED_BARS = re.compile(r"(\bbars \w+)-(?=\w)")


@dataclass(frozen=True, slots=True)
class Drill:
    """One task at the keyboard.

    Attributes:
        span: the bars; hands: which hand(s), None where the playing shall tell.
        pulse_kind: strict (with the click) or free.
        rate: share of the marked tempo, for a strict pulse.
        passes: how often, 0 for until the player has had enough.
        lead_in_beats: beats of count-in before a strict pass; None for one bar.
        rest_beats: between two strict passes; 0 goes straight on, on the beat; None is as usual.
        gesture: what means "again" and, twice, "next" (see `practice.drills.gestures`).
        from_memory: the page hides. run_through: nothing interrupts, the screen is quiet.
        reason: why this, in a line for the player; "" where they chose it themselves.
        other_hand: the hand not practised is played to the player. click_parts: clicks a beat;
            0: as it is set otherwise.
        number: which drill of the sitting it belongs to; a word of an earlier one is not heard.
    """

    span: Span
    hands: Hands | None = None
    pulse_kind: Literal["free", "strict"] = "free"
    rate: float = 1.0
    passes: int = 0
    lead_in_beats: int | None = None
    rest_beats: int | None = None
    gesture: Gesture = "off"
    from_memory: bool = False
    run_through: bool = False
    reason: str = ""
    other_hand: bool = False
    click_parts: int = 0
    number: int = 0


def find_span(arrangement: Arrangement, bars: str = "", section: str = "") -> Span:
    """The bars meant by "5-8", "5", "5-8@2", or by a section's name; all bars if neither.

    Raises:
        SpanError: the arrangement has no such bars or section, or both were given.
    """
    if bars and section:
        raise SpanError("bars and a section were both named", "", "give one of them")
    if bars:
        return _find_bars(arrangement, bars)
    if section:
        return _find_section(arrangement, section)
    return whole_span(arrangement)


def _find_bars(arrangement: Arrangement, text: str) -> Span:
    read = _BARS.match(text)
    if read is None:
        raise SpanError("not bars", f'"{text}"', 'write them like "5-8", "5" or "5-8@2"')
    first, last, time = read[1], read[2] or read[1], int(read[3] or 0)
    for number in (first, last):
        if all(bar.number != number for bar in arrangement.bars):
            raise SpanError(
                f"there is no bar {number}", arrangement.title, _bars_there(arrangement)
            )
    candidates = list(_stretches(arrangement, first, last, time))
    if not candidates:
        what = f"bars {first} to {last} are not played in that order"
        what += f" a time {time}" if time else ""
        raise SpanError(what, arrangement.title, _bars_there(arrangement))
    shortest = min(candidates, key=lambda span: (span.to_bar - span.from_bar, span.from_bar))
    return _whole_printed_bars(arrangement, shortest)


def _stretches(arrangement: Arrangement, first: str, last: str, time: int) -> Iterator[Span]:
    """Every way from a bar printed `first` to the next one printed `last`."""
    for bar in arrangement.bars:
        if bar.number != first or (time and bar.time != time):
            continue
        for end in arrangement.bars[bar.index :]:
            if end.number == last:
                yield Span(bar.index, end.index)
                break


def _whole_printed_bars(arrangement: Arrangement, span: Span) -> Span:
    """Take in both halves of a bar that is split by a repeat sign or a double bar."""
    bars, first, last = arrangement.bars, span.from_bar, span.to_bar
    while first > 0 and _same_print(arrangement, first - 1, first):
        first -= 1
    while last + 1 < len(bars) and _same_print(arrangement, last, last + 1):
        last += 1
    return Span(first, last)


def _same_print(arrangement: Arrangement, one: int, other: int) -> bool:
    a, b = arrangement.bars[one], arrangement.bars[other]
    return bool(a.number) and a.number == b.number and a.time == b.time and a.written != b.written


def _bars_there(arrangement: Arrangement) -> str:
    numbers = [bar.number for bar in arrangement.bars if bar.number]
    if not numbers:
        return "its bars have no printed numbers"
    last = max(arrangement.bars, key=lambda bar: (bar.written, bool(bar.number)))
    return f"its bars run from {numbers[0]} to {last.number or numbers[-1]}"


def _find_section(arrangement: Arrangement, text: str) -> Span:
    name, _, time = text.partition("@")
    wanted = name.strip().casefold()
    sections = arrangement.form.sections
    found = [s for s in sections if s.name.casefold() == wanted]
    found = found or [s for s in sections if s.letter.casefold() == wanted]
    which = int(time) if time.strip().isdecimal() else 0 if time.strip() else 1
    if not 1 <= which <= len(found):
        names = ", ".join(dict.fromkeys(s.name for s in sections))
        hint = f"it has: {names}" if names else "none was found in it; name the bars"
        raise SpanError(f"there is no section {text}", arrangement.title, hint)
    section = found[which - 1]
    return Span(section.from_bar, section.to_bar - 1)


def type_span(arrangement: Arrangement, span: Span) -> str:
    """What `find_span` takes for these bars, "5-8" or "5-8@2"; "" for all of them.

    Where numbers do not tell them apart (bars 2, 1 and 2 about a repeat, a bar with no number), it
    is the fewest bars about them that can be told.
    """
    last = len(arrangement.bars) - 1
    for more in range(last + 1):
        for left in range(more + 1):
            wide = Span(max(span.from_bar - left, 0), min(span.to_bar + more - left, last))
            text = _typed(arrangement, wide)
            if text is not None:
                return text
    return ""


def _typed(arrangement: Arrangement, span: Span) -> str | None:
    if span == whole_span(arrangement):
        return ""
    first, last = arrangement.bars[span.from_bar], arrangement.bars[span.to_bar]
    text = f"{first.number}-{last.number}"
    for told in (text, f"{text}@{first.time}")[first.time > 1 :]:
        with contextlib.suppress(SpanError):
            if find_span(arrangement, bars=told) == span:
                return told
    return None


def carry_span(old: Arrangement, new: Arrangement, span: Span) -> Span:
    """The bars of the same printed numbers and times in a score read anew, else all of it."""

    def find(index: int) -> int | None:
        # The halves of a bar that a repeat sign splits are printed as one bar: told by their order.
        bar = old.bars[index]
        before = sum((b.number, b.time) == (bar.number, bar.time) for b in old.bars[:index])
        same = [b.index for b in new.bars if (b.number, b.time) == (bar.number, bar.time)]
        return same[min(before, len(same) - 1)] if same else None

    first, last = find(span.from_bar), find(span.to_bar)
    if span == whole_span(old) or first is None or last is None or first > last:
        return whole_span(new)
    return Span(first, last)


def find_rate(arrangement: Arrangement, span: Span, text: str) -> float:
    """The share of the marked tempo that "72" (beats of the mark a minute) or "80%" means.

    Raises:
        SpanError: not a tempo, or one that nobody plays.
    """
    read = _TEMPO.match(text)
    if read is None:
        raise SpanError("not a tempo", f'"{text}"', 'write it like "72" or "80%"')
    number = float(read[1].replace(",", "."))
    mark = arrangement.tempo_at(arrangement.bars[span.from_bar].onset_q)
    rate = number / 100 if read[2] else number * float(mark.beat_unit_q) / mark.qpm
    if not SLOWEST_RATE <= rate <= FASTEST_RATE:
        marked = mark.qpm / float(mark.beat_unit_q)
        raise SpanError("out of reach", f"tempo {text}", f"the mark is {marked:.0f}")
    return rate


def name_span(arrangement: Arrangement, span: Span) -> str:
    """The span as the player reads it: "bars 5–8", "bar 5", "bars 5–8, time 2"."""
    first, last = arrangement.bars[span.from_bar], arrangement.bars[span.to_bar]
    if span == whole_span(arrangement):
        return "the whole"
    one, other = first.number or "pickup", last.number or "?"
    text = f"bar {one}" if one == other else f"bars {one}–{other}"
    if first.time != last.time:  # over a repeat: each end has its own time
        from_bar, to_bar = _say_time(arrangement, first), _say_time(arrangement, last)
        return f"bar {one}{from_bar} to bar {other}{to_bar}"
    return f"{text}, time {first.time}" if _say_time(arrangement, first) else text


def dash(text: str) -> str:
    """Bars as they are read, "bars 5–8", in words that can be typed, "bars 5-8"."""
    return _TYPED_BARS.sub(r"\1–", text)


def _say_time(arrangement: Arrangement, bar: Bar) -> str:
    """Which time a bar is played, "" where it is played once."""
    times = sum(one.written == bar.written for one in arrangement.bars)
    return f" (time {bar.time})" if times > 1 else ""
