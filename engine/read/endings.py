"""First and second endings: which bars stand under which bracket, and for which times."""

from __future__ import annotations

from dataclasses import dataclass, field

from engine.read.written import WrittenBar


@dataclass(slots=True)
class _Bracket:
    first: int
    last: int
    numbers: frozenset[int]


@dataclass(slots=True)
class EndingGroup:
    """Brackets that follow one another directly: alternatives to each other."""

    brackets: list[_Bracket] = field(default_factory=list)
    by_bar: dict[int, _Bracket] = field(default_factory=dict)
    listed: frozenset[int] = frozenset()
    last_time: int = 1
    alone: bool = False
    after_jump: bool = False

    @property
    def last_bar(self) -> int:
        """Index of the last bar under the last bracket."""
        return self.brackets[-1].last

    def plays(self, bar: int, time: int) -> bool:
        """Whether a bar is played at a time through.

        A time that no bracket lists takes the next one that is listed, else the last bracket;
        but after a lone first ending the last time goes past it.
        """
        if time in self.listed:
            return time in self.by_bar[bar].numbers
        if self.alone and time == self.last_time:
            return False
        later = [b for b in self.brackets if max(b.numbers) > time]
        return self.by_bar[bar] is (later[0] if later else self.brackets[-1])

    def end_of(self, bar: int) -> int:
        """Index of the last bar under the same bracket."""
        return self.by_bar[bar].last


def find_endings(bars: list[WrittenBar]) -> dict[int, EndingGroup]:
    """The group of each bar that stands under a bracket."""
    groups: list[EndingGroup] = []
    for bracket in _brackets(bars):
        if not groups or bracket.first != groups[-1].last_bar + 1 or 1 in bracket.numbers:
            # A bracket for the first time, even right after others, is a new group.
            groups.append(EndingGroup())
        _join(groups[-1], bracket)
    for group in groups:
        _settle_times(group, bars)
    return {bar: group for group in groups for bar in group.by_bar}


def _join(group: EndingGroup, bracket: _Bracket) -> None:
    if not bracket.numbers:
        before = group.brackets[-1].numbers if group.brackets else {0}
        bracket.numbers = frozenset({max(before) + 1})
    group.brackets.append(bracket)
    group.by_bar.update(dict.fromkeys(range(bracket.first, bracket.last + 1), bracket))


def _settle_times(group: EndingGroup, bars: list[WrittenBar]) -> None:
    """How many times through; a lone first ending leaves the last time to what follows it."""
    group.listed = frozenset(n for b in group.brackets for n in b.numbers)
    last = max(group.listed)
    group.alone = len(group.brackets) == 1 and bars[group.last_bar].repeat_end
    group.last_time = last + 1 if group.alone else last
    group.after_jump = any(bars[i].after_jump for i in group.by_bar)


def _brackets(bars: list[WrittenBar]) -> list[_Bracket]:
    """All brackets in order. One left open ends at its repeat, else after one bar."""
    found: list[_Bracket] = []
    for i, bar in enumerate(bars):
        if bar.ending is None or (found and i <= found[-1].last):
            continue
        found.append(_Bracket(i, _bracket_end(bars, i), bar.ending.numbers))
    return found


def _bracket_end(bars: list[WrittenBar], first: int) -> int:
    for i in range(first, len(bars)):
        ending = bars[i].ending
        if i > first and ending is not None and ending.begins:
            break
        if (ending is not None and ending.ends) or bars[i].repeat_end:
            return i
    return first
