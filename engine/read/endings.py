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
    last_time: int = 1
    after_jump: bool = False

    @property
    def last_bar(self) -> int:
        """Index of the last bar under the last bracket."""
        return self.brackets[-1].last

    def _at(self, bar: int) -> _Bracket:
        return next(b for b in self.brackets if b.first <= bar <= b.last)

    def numbers_at(self, bar: int) -> frozenset[int]:
        """The times through at which a bar is played."""
        return self._at(bar).numbers

    def end_of(self, bar: int) -> int:
        """Index of the last bar under the same bracket."""
        return self._at(bar).last


def find_endings(bars: list[WrittenBar]) -> dict[int, EndingGroup]:
    """The group of each bar that stands under a bracket."""
    groups: dict[int, EndingGroup] = {}
    group: EndingGroup | None = None
    for bracket in _brackets(bars):
        if group is None or bracket.first != group.last_bar + 1 or _starts_over(group, bracket):
            group = EndingGroup()
        _join(group, bracket)
        for i in range(bracket.first, bracket.last + 1):
            groups[i] = group
    for group in groups.values():
        _settle_times(group, bars)
    return groups


def _starts_over(group: EndingGroup, bracket: _Bracket) -> bool:
    """A bracket for the first time, right after other brackets, is a new group."""
    return 1 in bracket.numbers and bool(group.brackets)


def _join(group: EndingGroup, bracket: _Bracket) -> None:
    if not bracket.numbers:
        listed = [n for b in group.brackets for n in b.numbers]
        bracket.numbers = frozenset({max(listed, default=0) + 1})
    group.brackets.append(bracket)


def _settle_times(group: EndingGroup, bars: list[WrittenBar]) -> None:
    """How many times through; a lone first ending leaves the last time to what follows it."""
    last = max(n for b in group.brackets for n in b.numbers)
    alone = len(group.brackets) == 1 and bars[group.last_bar].repeat_end
    group.last_time = last + 1 if alone else last
    covered = (i for b in group.brackets for i in range(b.first, b.last + 1))
    group.after_jump = any(bars[i].after_jump for i in covered)


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
