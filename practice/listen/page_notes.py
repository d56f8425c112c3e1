"""What the player says of the page at the piano, written down: words on slips, and fingering.

Writing happens on a thread of its own, in the order of asking: the listener's thread never waits.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path

from engine.arrangement import Arrangement, ScoreNote
from engine.errors import UndersongError
from engine.findings import Slip
from engine.pitch_names import printed
from engine.read.note_places import place_text
from engine.review import PassReview
from practice.report.fingering_text import put_finger
from practice.report.proof_book import PageWord, ProofBook, What
from practice.snapshot import Said

_SAYING: dict[What, str] = {
    "page-wrong": "the page is wrong here",
    "meant-that": "played so on purpose",
}


class PageNotes:
    """Writes until `stop`.

    Args:
        score_path: the score, "" where it has no file: fingering is then not written.
        book_path: the file of what is said of pages; None where nothing is to be said.
        learn: takes the line that confirms what was written.
    """

    def __init__(
        self, score_path: str, book_path: Path | None, learn: Callable[[Said], None]
    ) -> None:
        self._score_path, self._book_path, self._learn = score_path, book_path, learn
        self._writer = ThreadPoolExecutor(1, thread_name_prefix="page-notes")
        self._problems: dict[str, str] = {}
        #: What was kept since the sitting began, with the page's title, the last said last.
        self._kept: list[tuple[str, PageWord]] = []

    @property
    def problem(self) -> str:
        """Why the last thing said could not be written, "" where it could."""
        return next((text for text in self._problems.values() if text), "")

    def say(self, what: What, arrangement: Arrangement, review: PassReview, slip: int,
            now: datetime) -> None:  # fmt: skip
        """A word on a slip of a pass, by its index; a slip that is not there is passed over."""
        if not 0 <= slip < len(review.slips):
            return
        word = word_on_slip(what, arrangement, review, review.slips[slip], now)
        self._writer.submit(self._write, "word", lambda: self._keep(arrangement.title, word))

    def unsay(self) -> None:
        """Take back the word said last in this sitting; again, the one before it."""
        self._writer.submit(self._write, "word", self._take_back)

    def finger(self, arrangement: Arrangement, note_id: str, fingering: str) -> None:
        """The fingering of a note, into the score's sidecar."""
        note = next((n for n in arrangement.notes if n.note_id == note_id), None)
        place = place_text(arrangement, note) if note else ""
        if self._score_path:
            self._writer.submit(
                self._write, "fingering", lambda: self._put(note_id, fingering, place)
            )

    def stop(self) -> None:
        """Write what is left, and end."""
        self._writer.shutdown(wait=True)

    # on the writer's thread

    def _write(self, kind: str, act: Callable[[], None]) -> None:
        try:
            act()
            self._problems[kind] = ""
        except (UndersongError, OSError) as error:
            self._problems[kind] = f"not kept: {error}"

    def _keep(self, title: str, word: PageWord) -> None:
        if self._book_path is None:
            self._learn(Said("Nothing is kept of what the demo plays"))
            return
        book = ProofBook(self._book_path)  # anew: the proof may have been told something meanwhile
        book.say(title, word)
        self._kept.append((title, word))
        self._learn(Said(confirm(word)))

    def _take_back(self) -> None:
        if self._book_path is None or not self._kept:
            self._learn(Said("Nothing was said that could be taken back"))
            return
        title, word = self._kept[-1]
        ProofBook(self._book_path).unsay(title, word)
        self._kept.pop()
        self._learn(Said(f"Taken back: bar {word.bar}, {_SAYING[word.what]}"))

    def _put(self, note_id: str, fingering: str, place: str) -> None:
        put_finger(self._score_path, note_id, fingering, place)


def confirm(word: PageWord) -> str:
    """One line on a word that was kept."""
    played = f" ({word.played})" if word.played else ""
    return f"Kept for the proof: bar {word.bar}, {_SAYING[word.what]}{played}"


def word_on_slip(
    what: What, arrangement: Arrangement, review: PassReview, slip: Slip, now: datetime
) -> PageWord:
    """What is said of a slip, at the place on the page it belongs to."""
    note = _note_of(arrangement, review, slip)
    played, when = printed(slip.heard), now.isoformat(timespec="seconds")
    if note is None:
        return PageWord(what, arrangement.bars[review.span.from_bar].number, 1.0, "", played, when)
    bar = arrangement.bars[note.bar]
    note_id = note.note_id if slip.score is not None else ""
    beat = float(bar.beat_at(note.onset_q))
    return PageWord(what, bar.number, beat, note_id, played, when)


def _note_of(arrangement: Arrangement, review: PassReview, slip: Slip) -> ScoreNote | None:
    """The note of the page a slip stands at: its own, or for an added one the right one nearest."""
    if slip.score is not None:
        return arrangement.notes[slip.score]
    onsets = {note.index: note.onset_s for note in review.notes}
    right = [
        (onsets[f.played], f.score)
        for f in review.findings
        if f.what == "right" and f.played is not None and f.score is not None
    ]
    if slip.played is None or not right:
        return None
    at_s = onsets[slip.played]
    return arrangement.notes[min(right, key=lambda one: abs(one[0] - at_s))[1]]
