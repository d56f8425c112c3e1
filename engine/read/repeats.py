"""The order in which the bars are played: repeats, endings, da capo, dal segno, coda, fine.

Rules (MusicXML 4.0 where it says, else common practice):

- A backward repeat goes back to the last forward repeat, else to just after the repeat before it,
  else to the beginning; twice through unless `times` says otherwise.
- An ending is played at the times through it lists; a repeat in an ending is taken as long as a
  later time is listed by any ending of its group.
- A jump (D.C., D.S.) is obeyed once, after the repeats of its bar. After a jump repeats are not
  taken again (unless `after-jump` says so) and the last ending is played.
- Coda and fine are obeyed after a jump only; "al Fine" and "al Coda" choose between them.
  A jump "al Coda" leaves at "To Coda" for the coda.
- `time-only` replaces these rules for the sign that has it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict

from engine.read.endings import EndingGroup, find_endings
from engine.read.limits import MAX_UNFOLDED_BARS, UNFOLDS_TOO_FAR
from engine.read.report import Report
from engine.read.written import Jump, WrittenBar


def playing_order(bars: list[WrittenBar], report: Report) -> list[int]:
    """Indices of the written bars in the order of playing.

    Raises:
        ScoreError: the repeats ask for more than `MAX_UNFOLDED_BARS` bars.
    """
    order = _Walk(bars, report).run() or list(range(len(bars)))
    heard = set(order)
    silent = [bar for i, bar in enumerate(bars) if i not in heard and bar.notes]
    if silent:
        more = f" (and {len(silent) - 1} more)" if len(silent) > 1 else ""
        report.put_up_with(
            silent[0].number,
            f"this bar{more} is never reached by the repeats and jumps as written",
            "check the repeat signs and endings",
        )
    return order


class _Walk:
    """A finger that follows the page, remembering which time through it is."""

    def __init__(self, bars: list[WrittenBar], report: Report) -> None:
        self.bars = bars
        self.report = report
        self.order: list[int] = []
        self.visits = [0] * len(bars)
        self.endings = find_endings(bars)
        self.signs = _Signs(bars, report)
        self.start = 0
        self.through = 1
        self.jumped = False
        self.until = ""
        self.taken: set[tuple[int, int]] = set()

    def run(self) -> list[int]:
        at: int | None = 0
        while at is not None and at < len(self.bars):
            at = self._step(at)
            if len(self.order) > MAX_UNFOLDED_BARS:
                raise self.report.refusal(
                    f"the score unfolds to more than {MAX_UNFOLDED_BARS} bars",
                    UNFOLDS_TOO_FAR,
                )
        return self.order

    def _step(self, at: int) -> int | None:
        """Play the bar at `at` if it is its turn; returns where to go, None at the end."""
        self._enter(at)
        group = self.endings.get(at)
        if group is not None and not group.plays(at, self._time(at, group)):
            return self._skip(at, group)
        if self._leaves_for_coda(at, before=True):
            return self.signs.coda_after(at, self._departure(at))
        self.order.append(at)
        self.visits[at] += 1
        return self._leave(at, group)

    def _enter(self, at: int) -> None:
        came_back = bool(self.order) and at == self.start and self.through > 1
        if self.bars[at].repeat_start and not came_back:
            self.start, self.through = at, 1

    def _time(self, at: int, group: EndingGroup) -> int:
        if self.jumped and not group.after_jump:
            return group.last_time
        return self.through

    def _skip(self, at: int, group: EndingGroup) -> int:
        """Past an ending that is not for this time through."""
        past = group.end_of(at) + 1
        if past > group.last_bar:
            self._begin_anew(past)
        return past

    def _begin_anew(self, at: int) -> None:
        self.start, self.through = at, 1

    def _leave(self, at: int, group: EndingGroup | None) -> int | None:
        bar = self.bars[at]
        if self._obeys(at, "fine") and self._fine_counts():
            return None
        if bar.repeat_end and self._goes_back(at, group):
            self.through += 1
            return self.start
        if bar.repeat_end or (group is not None and at == group.last_bar):
            self._begin_anew(at + 1)
        return self._jump(at)

    def _goes_back(self, at: int, group: EndingGroup | None) -> bool:
        bar = self.bars[at]
        if group is not None:
            if self.jumped and not group.after_jump:
                return False
            return self.through < group.last_time
        if self.jumped and not bar.after_jump:
            return False
        return self.through < bar.repeat_times

    def _jump(self, at: int) -> int | None:
        if self._leaves_for_coda(at, before=False):
            return self.signs.coda_after(at, self._departure(at))
        for number, sign in enumerate(self.bars[at].jumps):
            if sign.kind not in ("dacapo", "dalsegno") or (at, number) in self.taken:
                continue
            if sign.times and self.visits[at] not in sign.times:
                continue
            self.taken.add((at, number))
            self.jumped, self.until = True, sign.until
            target = 0 if sign.kind == "dacapo" else self.signs.segno_before(at, sign)
            self._begin_anew(target)
            return target
        return at + 1

    def _sign(self, at: int, kind: str) -> Jump | None:
        return next((s for s in self.bars[at].jumps if s.kind == kind), None)

    def _departure(self, at: int) -> Jump | None:
        return self._sign(at, "tocoda") or self.signs.implied_departure(at)

    def _obeys(self, at: int, kind: str) -> bool:
        sign = self._sign(at, kind)
        if sign is None:
            return False
        return self.visits[at] in sign.times if sign.times else self.jumped

    def _fine_counts(self) -> bool:
        return self.until != "coda"

    def _leaves_for_coda(self, at: int, before: bool) -> bool:
        sign = self._departure(at)
        if sign is None or sign.before != before or self.until == "fine":
            return False
        upcoming = self.visits[at] + (1 if before else 0)
        due = upcoming in sign.times if sign.times else self.jumped
        return due and self.signs.coda_after(at, sign) is not None


class _Signs:
    """Where the segni and codas stand."""

    def __init__(self, bars: list[WrittenBar], report: Report) -> None:
        self.report = report
        self.numbers = [bar.number for bar in bars]
        self.segni = self._find(bars, "segno")
        self.codas = self._find(bars, "coda")
        self.coda_bars = [i for i, _ in self.codas]
        self.named_codas: dict[str, list[int]] = defaultdict(list)
        for i, name in self.codas:
            self.named_codas[name].append(i)
        self.has_departure = bool(self._find(bars, "tocoda"))

    @staticmethod
    def _find(bars: list[WrittenBar], kind: str) -> list[tuple[int, str]]:
        found = ((i, s.name) for i, bar in enumerate(bars) for s in bar.jumps if s.kind == kind)
        return list(dict.fromkeys(found))

    def segno_before(self, at: int, sign: Jump) -> int:
        """The segno a D.S. at bar `at` goes to: of its name, else the last one before it."""
        named = [i for i, name in self.segni if name and name == sign.name]
        earlier = [i for i, _ in self.segni if i <= at]
        if named or earlier:
            return named[-1] if named else earlier[-1]
        self.report.put_up_with(
            self.numbers[at], "D.S. without a segno before it", "it is taken as D.C."
        )
        return 0

    def coda_after(self, at: int, sign: Jump | None) -> int | None:
        """The coda to leave bar `at` for: of the sign's name, else the next; never backwards."""
        named = self.named_codas.get(sign.name, []) if sign and sign.name else []
        for places in (named, self.coda_bars):
            following = bisect_right(places, at)
            if following < len(places):
                return places[following]
        return None

    def implied_departure(self, at: int) -> Jump | None:
        """Of two coda signs and no "To Coda" the first is the place to leave from."""
        if self.has_departure or len(self.codas) < 2 or self.codas[0][0] != at:
            return None
        return Jump("tocoda")
