"""Progress in the terminal: a table of sections, with sparklines where there is a terminal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from practice.progress.news import find_news
from practice.progress.progress import HandProgress, Progress, SectionProgress
from practice.store.history import Fingered

BARS = "▁▂▃▄▅▆▇█"
#: A sparkline shows at most so many days, the newest.
SPARK_DAYS = 24


def say_progress(progress: Progress, terminal: bool) -> Iterator[str]:
    """The lines. Plain, without sparklines, where the output is not a terminal."""
    yield say_totals(progress)
    yield from _say_edit(progress)
    yield from (f"* {one.words}" for one in find_news(progress))
    for section in progress.sections:
        played = [h for h in section.hands if h.days]
        yield ""
        yield f"{section.name}  ({_say_bars(section)})" + ("" if played else "  unplayed")
        for hand in played:
            yield from _say_hand(hand, terminal)
        if section.kinds:
            yield f"  slips  {say_slips(section.kinds)}"
    yield from _say_kinds(progress)


def say_slips(kinds: Sequence[tuple[str, str, int]]) -> str:
    """A section's slips by kind, the commonest first: in the last month there is, and in all."""
    month = kinds[-1][0]
    now, ever = Counter[str](), Counter[str]()
    for when, kind, count in kinds:
        ever[kind] += count
        now[kind] += count * (when == month)
    told = ", ".join(f"{kind} {n}" for kind, n in now.most_common() if n)
    if ever == now:
        return f"{told} ({month})"
    return f"{told} ({month}); in all {', '.join(f'{k} {n}' for k, n in ever.most_common())}"


def say_totals(progress: Progress) -> str:
    """All passes of the arrangement in one line."""
    t = progress.totals
    if not t.passes:
        return (
            f"{progress.title}: no pass of yours kept yet; play it and come back "
            "(the simulated pianist does not count)"
        )
    share = f"{t.good} of {t.passes} passes good ({t.good / t.passes:.0%})"
    return (
        f"{progress.title}: {share}, on {t.days} day{'s' * (t.days != 1)}, "
        f"{t.first} to {t.last}, {say_time(progress.seconds)} at the keys"
    )


def say_time(seconds: float) -> str:
    """Hours and minutes."""
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60} min" if minutes >= 60 else f"{minutes} min"


def _say_bars(section: SectionProgress) -> str:
    again = f", comes {1 + len(section.also)} times" if section.also else ""
    return f"bars {section.from_bar}–{section.to_bar}{again}"


def _say_hand(hand: HandProgress, terminal: bool) -> Iterator[str]:
    at = hand.standing
    yield f"  {hand.hands:<5}  {at.stage:<11}  {at.reason}"
    bits = [f"{at.good} of {at.passes} good"]
    bits += [text for text in (_say_tempo(hand), _say_even(hand), _say_kept(hand)) if text]
    yield f"         {'; '.join(bits)}"
    if terminal and len(hand.days) > 1:
        yield f"         {_say_sparks(hand)}"
    yield from (f"         {claim.words}" for claim in hand.claims)
    if told := say_fingerings(hand.fingerings):
        yield f"         {told}"


def say_fingerings(fingerings: Sequence[Fingered]) -> str:
    """Which fingering the evenness is of, where there are others; "" where there is but one."""
    if len(fingerings) < 2:
        return ""
    now, *others = fingerings
    told = ", ".join(
        f"{o.passes} pass{'es' * (o.passes != 1)} with {o.fingering or 'none told'} "
        f"({o.first} to {o.last})"
        for o in others
    )
    return f"evenness is of the fingering {now.fingering or 'none told'}; not compared: {told}"


def _say_tempo(hand: HandProgress) -> str:
    best = [d.tempo_share for d in hand.days if d.tempo_share]
    return f"fastest good {max(best):.0%} of the tempo" if best else ""


def _say_even(hand: HandProgress) -> str:
    told = [d.evenness_ms for d in hand.days if d.evenness_ms.value is not None]
    if not told or hand.tempo_share is None:
        return ""
    last = told[-1]
    within = f" ({last.low:.0f} to {last.high:.0f})" if last.low is not None and last.high else ""
    return f"figure within {last.value:.0f} ms{within}, n {last.n}, at {hand.tempo_share:.0%} tempo"


def _say_kept(hand: HandProgress) -> str:
    if not hand.retention:
        return ""
    last = hand.retention[-1]
    nights = f"{last.nights} night{'s' * (last.nights != 1)}"
    return f"cold {last.cold:.0%} right after {nights}, {last.best:.0%} at best before"


def _say_sparks(hand: HandProgress) -> str:
    right = sparkline([d.right_share for d in hand.days])
    even = sparkline([d.evenness_ms.value for d in hand.days])
    return f"right {right}" + (f"   unevenness {even}" if even.strip() else "")


def sparkline(values: Sequence[float | None]) -> str:
    """Eight heights from least to most; a space where there is no value."""
    newest = values[-SPARK_DAYS:]
    told = [v for v in newest if v is not None]
    if not told:
        return ""
    low, high = min(told), max(told)
    step = (high - low) / (len(BARS) - 1) or 1.0
    return "".join(" " if v is None else BARS[round((v - low) / step)] for v in newest)


def _say_edit(progress: Progress) -> Iterator[str]:
    edit = progress.edit
    if not edit.before:
        return
    if not (edit.changed or edit.gone):
        yield f"The score was edited since {edit.before}; every bar still applies."
        return
    yield (
        f"The score was edited since {edit.before}: bars {', '.join(edit.changed) or 'none'} are "
        f"new or changed, {', '.join(edit.gone) or 'none'} gone; sections without them keep "
        "their history."
    )


def _say_kinds(progress: Progress) -> Iterator[str]:
    if not progress.kinds:
        return
    month = progress.kinds[-1][0]
    now = sorted(((n, kind) for when, kind, n in progress.kinds if when == month), reverse=True)
    yield ""
    yield f"Slips in {month}: " + ", ".join(f"{kind} {n}" for n, kind in now)
