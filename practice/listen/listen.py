"""The real-time loop: a thread that owns the session, a queue in, snapshots out.

Whoever hears, tells or judges puts into the queue and goes on; whoever draws takes the newest
snapshot and goes on. The thread waits for nothing but its queue.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass

from engine.arrangement import Arrangement
from engine.follow import Follower
from engine.performance import KeyEvent
from practice.clock import Clock
from practice.drill import Drill
from practice.listen.follows import MakeFollower
from practice.listen.happenings import Happening
from practice.listen.judge import JudgeFailed
from practice.listen.prompts import say_state
from practice.listen.recalled import recall
from practice.listen.session import Picture, Session
from practice.ports.ports import PortChange
from practice.snapshot import Command, MapCell, PassRecord, Said, Snapshot

#: With nothing in the queue the thread looks at the clock this often.
TICK_S = 0.02
#: Events reach the queue at the latest this long after their stamp; the session's own time
#: runs so far behind, that none comes too late for it.
GRACE_S = 0.1
#: More messages than this wait only where a device floods: a minute of the densest playing. What
#: comes on top is dropped and counted, so that neither memory nor the player's wait grows.
MOST_WAITING = 5000


@dataclass(frozen=True, slots=True)
class _Stop:
    pass


@dataclass(frozen=True, slots=True)
class _Asked:
    """A command with the moment it was given: the notes waiting behind it are later."""

    command: Command
    at_s: float


_Heard = (
    KeyEvent | _Asked | PortChange | PassRecord | JudgeFailed | tuple[MapCell, ...] | Said | _Stop
)


class Listener:
    """Runs a session.

    Args:
        arrangement, drill: what to practise.
        clock: the stamping clock.
        happened: takes every happening, on the listener's thread; must not wait.
        warnings: what else to tell the player, "" for nothing (asked with each snapshot).
        failures: callbacks that failed so far.
        make_follower: for tests.
        keeps_all: takes are told with all their notes when they end.
    """

    def __init__(
        self,
        arrangement: Arrangement,
        drill: Drill,
        clock: Clock,
        happened: Callable[[Happening], None],
        *,
        warnings: Callable[[], str] = lambda: "",
        failures: Callable[[], int] = lambda: 0,
        make_follower: MakeFollower = Follower,
        keeps_all: bool = True,
    ) -> None:
        self._clock = clock
        self._happened = happened
        self._warnings = warnings
        self._failures = failures
        self._session = Session(arrangement, drill, make_follower, keeps_all)
        self._queue: queue.SimpleQueue[_Heard] = queue.SimpleQueue()
        self._records: tuple[PassRecord, ...] = ()
        self._cells: tuple[MapCell, ...] = ()
        self._trouble = ""
        self._said = ""
        self._lost = 0
        self._dropped = self._dropped_before = 0
        self._faults = 0
        self._stopping = False
        self._version = 0
        self._ended = threading.Event()
        self._snapshot = self._compose(self._session.picture(clock.now_s()))
        self._thread = threading.Thread(target=self._run, name="listener", daemon=True)

    # from any thread

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def hand_on(self, event: KeyEvent) -> None:
        """A message from the keyboard: into the queue, nothing else."""
        if self._queue.qsize() < MOST_WAITING:
            self._queue.put(event)
        else:
            self._dropped += 1

    def port_changed(self, change: PortChange) -> None:
        """The keyboard came or went."""
        self._queue.put(change)

    def tell(self, command: Command) -> None:
        """The player asked for something."""
        self._queue.put(_Asked(command, self._clock.now_s()))

    def learn(self, record: PassRecord | JudgeFailed | tuple[MapCell, ...] | Said) -> None:
        """A pass was judged, the map changed, or something asked for was done."""
        self._queue.put(record)

    def snapshot(self) -> Snapshot:
        """The newest picture of the session."""
        return self._snapshot

    @property
    def ended(self) -> threading.Event:
        """Set once no more will be played."""
        return self._ended

    def stop(self) -> None:
        """End the session: what is under way is ended and told. Waits for the thread."""
        self._queue.put(_Stop())
        self._thread.join()

    def drain(self) -> None:
        """After `stop`: take in what was judged since."""
        for item in self._take_waiting():
            self._take(item)
        self._publish()

    # on the listener's thread

    def _run(self) -> None:
        try:
            while self._goes_on():
                pass
        finally:
            self._ended.set()

    def _goes_on(self) -> bool:
        """One step. Whatever fails in it, the next is taken: this thread must not end early."""
        try:
            return self._step()
        except Exception as error:
            self._note_fault(error)
            return not self._stopping

    def _step(self) -> bool:
        """Take all that waits, let time pass, publish. False when it was the last."""
        # Read before the queue: all that was stamped until then is in it. Read after, a thread
        # held up for seconds would let a silence pass that the waiting notes were played in.
        until_s = self._clock.now_s() - GRACE_S
        heard = self._take_waiting()
        self._stopping = self._stopping or any(isinstance(item, _Stop) for item in heard)
        for item in heard:
            self._take(item)
        self._mind_dropped()
        if self._stopping:
            self._safely(lambda: self._session.end(self._clock.now_s()))
            self._publish()
            return False
        self._safely(lambda: self._session.tick(until_s))
        if heard or self._has_changed():
            self._publish()
        if self._session.state == "ended":
            self._ended.set()
        return True

    def _mind_dropped(self) -> None:
        """Whose release was dropped would be held for ever: after a flood all keys come up."""
        dropped = self._dropped
        if dropped != self._dropped_before and self._queue.qsize() < MOST_WAITING:
            self._lost += dropped - self._dropped_before
            self._dropped_before = dropped
            self._trouble = f"the keyboard sent more than can be heard: {dropped} messages dropped"
            self._safely(lambda: self._session.let_go(self._clock.now_s()))

    def _take_waiting(self) -> list[_Heard]:
        try:
            heard = [self._queue.get(timeout=TICK_S)]
            while not self._queue.empty():
                heard.append(self._queue.get_nowait())
        except queue.Empty:
            return []
        return heard

    def _take(self, item: _Heard) -> None:
        if isinstance(item, KeyEvent):
            self._lost += not self._safely(lambda: self._session.hear(item))
        elif isinstance(item, _Asked):
            self._safely(lambda: self._session.tell(item.command, item.at_s))
        elif isinstance(item, PortChange):
            self._safely(lambda: self._session.port_changed(item.name, item.connected, item.time_s))
        elif isinstance(item, PassRecord):
            self._records = recall(self._records, item)
        elif isinstance(item, JudgeFailed):
            self._trouble = f"pass {item.ended.number} could not be judged ({item.why}); it is kept"
        elif isinstance(item, tuple):
            self._cells = item
        elif isinstance(item, Said):
            self._said = item.text

    def _safely(self, act: Callable[[], list[Happening]]) -> bool:
        """Do it and tell what happened. A fault is told and ends nothing; False where one was."""
        try:
            happenings = act()
        except Exception as error:
            self._note_fault(error)
            return False
        for happening in happenings:
            self._tell_of(happening)
        return True

    def _tell_of(self, happening: Happening) -> None:
        """One that cannot be told keeps none of the others from being told."""
        try:
            self._happened(happening)
        except Exception as error:
            self._note_fault(error)

    def _note_fault(self, error: Exception) -> None:
        self._faults += 1
        many = f", {self._faults} so far" if self._faults > 1 else ""
        self._trouble = f"a fault of the program ({type(error).__name__}: {error}){many}"

    def _has_changed(self) -> bool:
        """Something that time alone changes: the state, the beat, a place, a warning."""
        last = self._snapshot
        shown = (*self._session.glance(self._clock.now_s()), self._message())
        return shown != (last.state, last.beat, last.place_q, last.message)

    def _message(self) -> str:
        unfollowed = self._session.unfollowed(self._clock.now_s())
        warning = self._session.message or self._warnings() or self._trouble or self._fault()
        return warning or unfollowed

    def _fault(self) -> str:
        faults = self._session.faults
        if faults:
            return f"{len(faults)} notes could not be followed ({faults[-1]})"
        failed = self._failures()
        return f"failures at the keyboard's port: {failed}" if failed else ""

    def _publish(self) -> None:
        self._version += 1
        self._snapshot = self._compose(self._session.picture(self._clock.now_s()))

    def _compose(self, picture: Picture) -> Snapshot:
        drill, arrangement = picture.drill, self._session.arrangement
        return Snapshot(
            version=self._version,
            arrangement=arrangement,
            span=drill.span,
            hands=drill.hands or "both",
            pulse_kind=drill.pulse_kind,
            rate=drill.rate,
            state=picture.state,
            state_text=say_state(arrangement, picture),
            port=picture.port,
            connected=picture.connected,
            place_q=picture.place_q,
            doubt=picture.doubt,
            notes=picture.notes,
            findings=picture.findings,
            damper=picture.damper,
            pedals=picture.pedals,
            beat=picture.beat,
            passes=self._records,
            cells=self._cells,
            message=self._message(),
            said=self._said,
            lost_notes=self._lost,
            failed_callbacks=self._failures(),
            reason=drill.reason,
            from_memory=drill.from_memory,
            run_through=drill.run_through,
            heard=f"Playing to you: {picture.heard}" if picture.heard else "",
        )
