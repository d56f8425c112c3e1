"""Which kinds of slip one struck key may be, by what the kinds mean and the page alone.

Nothing here asks the tellers: each kind is put as the set of keys that it may leave in place of a
note (`engine.slips.KINDS`; for twins the ways that the simulated pianist takes). A planted slip
whose key is in the sets of two kinds cannot be told by anyone who has the key only; it is "open".
All others are decidable.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from engine.arrangement import Arrangement, ScoreNote, Span
from engine.pitch_names import LETTER_SEMITONES
from engine.slips import kinds
from practice.player.route import find_onsets
from practice.player.slips import Page, key_alter


class Readings:
    """A page asked, note by note, which kinds may have left a key there."""

    def __init__(self, arrangement: Arrangement) -> None:
        self.arrangement = arrangement
        whole = Span(0, len(arrangement.bars) - 1)
        self.page = Page(arrangement, find_onsets(arrangement, whole, "both"))

    @cached_property
    def _onset(self) -> dict[int, int]:
        return {i: k for k, group in enumerate(self.page.onsets.notes) for i in group}

    def of_wrong(self, score: int, key: int) -> set[str]:
        """The kinds that may strike `key` in place of a note."""
        note, k = self.arrangement.notes[score], self._onset[score]
        hand = int(note.hand == "right")
        chord, apart = self.page.hands[hand][k], abs(key - note.pitch)
        octave = {note.pitch - 12, note.pitch + 12} & set(chord)
        found = set(self._of_chords(k, hand, key))
        if octave and 1 <= apart <= 2:
            return {kinds.SPLIT} | (found & {kinds.TWIN})  # whoever is elsewhere moves both notes
        if key in _misread(note, key_alter(self.arrangement.fifths, note.step)):
            found.add(kinds.ACCIDENTAL)
        if 1 <= apart <= 2:
            found.add(kinds.NEIGHBOUR)
        if apart and apart % 12 == 0:
            found.add(kinds.OCTAVE)
        return found

    def of_extra(self, score: int, key: int) -> set[str]:
        """The kinds that may strike `key` soon after a note, besides one that is not written."""
        k, q = self._onset[score], self.arrangement.notes[score].onset_q
        found = {kinds.ADDED, *self._of_chords(k, 0, key), *self._of_chords(k, 1, key)}
        for note in self.arrangement.notes:  # an extra has no hand: what either holds may be meant
            if note.onset_q <= q < note.onset_q + note.duration_q:
                if note.pitch == key:
                    found.add(kinds.DOUBLED)
                elif note.pitch % 12 == key % 12:
                    found.add(kinds.OTHER_HAND)
        return found - {kinds.TWIN}

    def _of_chords(self, k: int, hand: int, key: int) -> Iterator[str]:
        """What the hand's other chords and the other hand hold."""
        page = self.page
        if key in page.beside(k, hand, 1):
            yield kinds.ANTICIPATION
        if key in page.beside(k, hand, -1):
            yield kinds.LATE_CHANGE
        own = {p % 12 for p in page.hands[hand][k]}
        if key % 12 in {p % 12 for p in page.hands[1 - hand][k]} - own:
            yield kinds.OTHER_HAND
        if any(key in way for way in page.other_ways.get((hand, k), ())):
            yield kinds.TWIN


def _misread(note: ScoreNote, signature: int) -> set[int]:
    """The plain letter, the letter as the signature has it, and a double sign read once."""
    natural = 12 * (note.octave + 1) + LETTER_SEMITONES[note.step]
    alters = {0, signature} | ({note.alter // 2} if abs(note.alter) == 2 else set())
    return {natural + a for a in alters if a != note.alter}
