"""A sitting at the piano: keyboard, listener, judge and store put together, and taken apart again.

keyboard's callback -> listener's queue -> session -> judge -> listener (what the pass came to)
                                              |         |
                                              +-> keeper (store's thread) <-+
"""

from __future__ import annotations

import gc
import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Protocol, cast

from engine.arrangement import Arrangement
from engine.performance import KeyEvent
from engine.standing import DEFINITIONS, Definitions
from practice.clock import Clock
from practice.drill import Drill
from practice.drills.coach import Coach
from practice.drills.coaching import CHOSEN, Coaching
from practice.drills.run_throughs import RunThrough, find_run_through, say_place
from practice.listen.happenings import (
    Asked,
    EventHeard,
    Happening,
    PassEnded,
    PulseBegan,
    PulseEnded,
    TakeBegan,
    TakeEnded,
)
from practice.listen.judge import History, Judge, Judged, JudgeFailed, detail_of
from practice.listen.judged_pass import keep_as, make_record
from practice.listen.listen import Listener
from practice.listen.live_map import LiveMap
from practice.listen.outcome import Outcome
from practice.listen.page_notes import PageNotes
from practice.listen.spare_memory import keep_pieces_few
from practice.ports.instrument_profiles import Profiles, name_instrument
from practice.ports.ports import Driver, Keyboard, PortChange
from practice.report.proof_book import What
from practice.snapshot import Command, Said, Snapshot
from practice.store.keeper import TakeKeeper
from practice.store.kept import KeptPass, Source, TakeStart

#: The interpreter changes threads this often at the least: a callback waits that much less.
SWITCH_S = 0.0005


class Partner(Protocol):
    """Who plays with the player: the click, the other hand. None of these may wait."""

    @property
    def problem(self) -> str:
        """Why nothing sounds, "" where it does."""
        ...

    def notice(self, happening: Happening) -> None:
        """What the session says: a pulse began or ended, a key was heard, listen, hush."""
        ...

    def hear(self, event: KeyEvent) -> None:
        """What the player plays, on the driver's thread, at once."""
        ...

    def close(self) -> None:
        """Silence everything. Waits until that is done."""
        ...


@dataclass(frozen=True, slots=True)
class Setting:
    """What a sitting is about.

    Attributes:
        arrangement, path: the score and where it came from.
        drill: what to practise.
        clock, now: the stamping clock and the wall clock.
        source: played by a person, or the demo.
        keeps_all: the outcome will be asked for the whole session, note by note.
        definitions: what makes a pass good.
    """

    arrangement: Arrangement
    path: str
    drill: Drill
    clock: Clock
    now: Callable[[], datetime]
    source: Source = "played"
    keeps_all: bool = True
    definitions: Definitions = DEFINITIONS


class Sitting:
    """Runs from `start` to `stop`.

    Args:
        setting: what it is about.
        keeper: keeps the takes; None where they cannot be kept.
        partner: click and other hand, if any.
        history: what was played before on each instrument, see `practice.listen.judge`.
        load_map: the stages of an arrangement's sections so far.
        coach: says what is next after each pass, if a drill is run.
        book_path: the file of what the player says of pages; None: nothing said is kept.
        profiles: the keyboards that were calibrated.
        run_throughs: earlier ones of the same arrangement.
    """

    def __init__(
        self,
        setting: Setting,
        keeper: TakeKeeper | None,
        partner: Partner | None = None,
        history: History | None = None,
        load_map: Callable[[Arrangement], LiveMap] = LiveMap,
        coach: Coach | None = None,
        book_path: Path | None = None,
        profiles: Profiles | None = None,
        run_throughs: Sequence[RunThrough] = (),
    ) -> None:
        self._setting = setting
        self._keeper = keeper
        self._partner = partner
        self._profiles = profiles or Profiles()
        self._run_throughs = {setting.arrangement.content_hash: list(run_throughs)}
        self._keyboard: Keyboard | None = None
        self._started: dict[int, datetime] = {}
        self._pulse: PulseBegan | None = None
        self._finished = False
        self.outcome = Outcome(setting.keeps_all)
        self._page_notes = PageNotes(
            setting.path, book_path, lambda said: self.listener.learn(said)
        )
        self.listener = Listener(
            setting.arrangement,
            setting.drill,
            setting.clock,
            self._happened,
            warnings=self._warnings,
            failures=lambda: self._keyboard.failures if self._keyboard else 0,
            keeps_all=setting.keeps_all,
        )
        self.coaching = Coaching(coach, self.listener.tell)
        self._load_map = load_map
        self._maps: dict[str, LiveMap] = {}
        self.listener.learn(self._map_of(setting.arrangement).cells())
        self._judge = Judge(self._judged, history, setting.definitions)

    def start(self) -> None:
        """Begin to listen."""
        sys.setswitchinterval(SWITCH_S)
        keep_pieces_few()
        gc.collect()
        gc.freeze()
        self.listener.start()

    def connect(self, driver: Driver, wanted: str = "", remembered: str = "") -> Keyboard:
        """Watch for the keyboard and listen to it."""
        self._keyboard = Keyboard(
            driver,
            self._setting.clock,
            self.hand_on,
            self.listener.port_changed,
            wanted,
            remembered,
        )
        self._keyboard.start()
        return self._keyboard

    def hand_on(self, event: KeyEvent) -> None:
        """A message from the keyboard, on its own thread."""
        self.listener.hand_on(event)
        if self._partner:
            self._partner.hear(event)

    @property
    def pulse(self) -> PulseBegan | None:
        """The strict pulse that runs now."""
        return self._pulse

    @property
    def clock(self) -> Clock:
        """The stamping clock."""
        return self._setting.clock

    def _warnings(self) -> str:
        kept = self._keeper.problem if self._keeper else ""
        sounding = self._partner.problem if self._partner else ""
        return kept or self._page_notes.problem or sounding

    # what the simulated pianist needs

    def port_changed(self, change: PortChange) -> None:
        """The keyboard came or went."""
        self.listener.port_changed(change)

    def tell(self, command: Command) -> None:
        """The player asked for something."""
        self.listener.tell(command)

    def snapshot(self) -> Snapshot:
        """The newest picture."""
        return self.listener.snapshot()

    def finish(self) -> None:
        """End what is under way and judge it; snapshots then show all passes. Waits for that."""
        if self._finished:
            return
        self._finished = True
        if self._keyboard:
            self._keyboard.stop()
        self.listener.stop()
        if self._partner:
            self._partner.close()
        self._judge.stop()
        self._page_notes.stop()
        self.listener.drain()

    def stop(self) -> None:
        """Finish, and write everything down."""
        try:
            self.finish()
        finally:
            if self._keeper:
                self._keeper.stop()

    @property
    def not_kept(self) -> str:
        """After `stop`: one line on notes that could not be written, "" where all were."""
        keeper = self._keeper
        if keeper is None or not keeper.unkept:
            return ""
        return f"{keeper.unkept} notes could not be kept: {keeper.problem}"

    def numbers(self) -> dict[int, int]:
        """The takes' numbers in the store, where they were kept."""
        if self._keeper is None:
            return {}
        return {take: self._keeper.number(take, 0.0) for take in self.outcome.began}

    # on the listener's thread

    def _happened(self, happening: Happening) -> None:
        if isinstance(happening, EventHeard):
            if self._keeper:
                self._keeper.append(happening.take, happening.event)
        elif isinstance(happening, PassEnded):
            port = self.outcome.began[happening.take].port
            self._judge.submit(happening, name_instrument(port), self._profiles.of(port))
        elif isinstance(happening, TakeBegan):
            self._take_began(happening)
        elif isinstance(happening, TakeEnded):
            self._take_ended(happening)
        elif isinstance(happening, Asked) and self._has_answered(happening.command):
            return
        else:
            self._note_pulse(happening)
        if self._partner:
            self._partner.notice(happening)

    def _take_began(self, began: TakeBegan) -> None:
        setting = self._setting
        since_s = setting.clock.now_s() - began.start_s
        started = setting.now() - timedelta(seconds=since_s)
        self.outcome.began[began.take] = began
        self._started[began.take] = started
        if self._keeper:
            drill, arrangement = began.drill, began.arrangement
            self._keeper.begin(
                began.take,
                TakeStart(
                    arrangement.content_hash, arrangement.title, setting.path,
                    name_instrument(began.port), setting.source, started, drill.span, drill.hands,
                    drill.pulse_kind, drill.rate, self._profiles.of(began.port),
                ),
            )  # fmt: skip

    def _take_ended(self, ended: TakeEnded) -> None:
        self.outcome.end(ended)
        if self._keeper:
            self._keeper.end(ended.take)

    def _note_pulse(self, happening: Happening) -> None:
        if isinstance(happening, PulseBegan):
            self._pulse = happening
        elif isinstance(happening, PulseEnded):
            self._pulse = None

    def _has_answered(self, command: Command) -> bool:
        """Do what is neither the session's affair nor the partner's."""
        if command.kind == "port" and self._keyboard:
            keyboard = self._keyboard
            threading.Thread(target=keyboard.want, args=(command.name,), daemon=True).start()
        elif command.kind == "keep" and self._keeper:
            self._keep_pass(self._keeper, command.pass_number)
        elif command.kind in ("page-wrong", "meant-that"):
            self._note_word(command)
        elif command.kind == "unsay":
            self._page_notes.unsay()
        elif command.kind == "fingering":
            page, told = self.snapshot().arrangement, command.extra
            self._page_notes.finger(page, told["note_id"], told["fingering"])
        elif command.kind == "next":
            self._say(self.coaching.skip())
        elif command.kind == CHOSEN:
            self._begin_drill(command)
        elif command.kind == "left":
            self._say(self.coaching.leave())
        else:
            return False
        return True

    def _begin_drill(self, command: Command) -> None:
        self._say(self.coaching.begin(command, self.snapshot().arrangement))

    def _say(self, line: str) -> None:
        if line:
            self.listener.learn(Said(line))

    def _keep_pass(self, keeper: TakeKeeper, number: int) -> None:
        if 0 < number <= len(self.outcome.takes):
            keeper.mark_keeper(self.outcome.takes[number - 1])

    def _note_word(self, command: Command) -> None:
        if judged := self.outcome.find(command.pass_number):
            what, page = cast(What, command.kind), judged.ended.arrangement
            self._page_notes.say(what, page, judged.review, command.slip, self._setting.now())

    # on the judge's thread

    def _judged(self, judged: Judged | JudgeFailed) -> None:
        if isinstance(judged, JudgeFailed):
            self.listener.learn(judged)
            self.coaching.unjudged(judged.ended.drill_number, judged.why)
            return
        number = self.outcome.add(judged)
        take = judged.ended.take
        started = self._started[take] + timedelta(seconds=judged.review.notes[0].onset_s)
        kept_as = 0
        kept = keep_as(judged, self.outcome.takes.count(take), started)
        if self._keeper:
            self._keeper.add_pass(take, kept, detail_of(judged))
            kept_as = self._keeper.number(take)
        played_on = name_instrument(self.outcome.began[take].port)
        record = make_record(judged, number, kept_as, started, played_on)
        place = self._place_among(judged.ended.arrangement, replace(kept, take=kept_as))
        record = replace(record, place=place)
        self.listener.learn(record)
        if place:
            self.listener.learn(Said(place))
        self.coaching.judged(judged.ended.drill_number, record)
        stages = self._map_of(judged.ended.arrangement)
        stages.add(judged.sections, started.date().isoformat())
        self.listener.learn(stages.cells())

    def _place_among(self, arrangement: Arrangement, kept: KeptPass) -> str:
        """The place of a run-through among those before it; "" for any other pass."""
        one = find_run_through(arrangement, kept)
        if one is None:
            return ""
        earlier = self._run_throughs.setdefault(arrangement.content_hash, [])
        place = say_place(one, earlier)
        earlier.append(one)
        return place

    def _map_of(self, arrangement: Arrangement) -> LiveMap:
        if arrangement.content_hash not in self._maps:
            self._maps[arrangement.content_hash] = self._load_map(arrangement)
        return self._maps[arrangement.content_hash]
