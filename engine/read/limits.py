"""How much a score may ask for. Generous for any real piano score; each ends in a `ScoreError`."""

from __future__ import annotations

from fractions import Fraction

#: Bytes of a score file, and of the MusicXML inside a compressed one.
MAX_FILE_BYTES = 32 * 1024 * 1024
#: Bytes of a MIDI file: as many notes as are read need a sixth of it.
MAX_MIDI_BYTES = 512 * 1024
#: Elements of a document: twenty for each note that is read. A parser needs microseconds and two
#: hundred bytes for each, however small it is in the file.
MAX_ELEMENTS = 300_000
#: Members of a compressed score's archive.
MAX_ARCHIVE_MEMBERS = 1000
#: Words, pedal signs and the like in a document: two for each note that is read.
MAX_DIRECTIONS = 30_000
#: Notes and rests in a document, notes that are read, and notes and bars unfolded. At ten notes a
#: second twenty thousand are over half an hour. All are so chosen that a page at its limit is read
#: in five seconds (`tests/trust/README.md`); one of MIDI has its names and hands found as well.
MAX_DOCUMENT_NOTES = 36_000
MAX_WRITTEN_NOTES = 12_000
MAX_MIDI_NOTES = 8_000
MAX_UNFOLDED_NOTES = 20_000
MAX_UNFOLDED_BARS = 3_000
#: Quarters from beginning to end, unfolded, and in one bar.
MAX_SCORE_Q = Fraction(200_000)
MAX_BAR_Q = Fraction(2_000)
#: Staves of one piano; signs that send elsewhere, and repeat signs, within one bar.
MAX_STAVES = 8
MAX_JUMPS_IN_BAR = 16
MAX_CUTS_IN_BAR = 16
#: Ties of one key that may be open at once.
MAX_OPEN_TIES = 32
#: Marks, tempos and pedal signs once repeats are written out.
MAX_UNFOLDED_MARKS = 60_000
#: Problems listed; what comes after is counted, not listed.
MAX_PROBLEMS = 200
#: Tempo in quarters a minute that is believed.
MIN_QPM, MAX_QPM = 5.0, 1000.0
#: Tempo where the score gives none (the default of MIDI files and of most notation programs).
DEFAULT_QPM = 120.0
#: What can be done about a score that unfolds to more than it may.
UNFOLDS_TOO_FAR = "correct its repeats, or split it"
