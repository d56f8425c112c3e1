"""Read the spelled scores of music21's corpus into one pickle, for fitting and for benchmarks.

    python tests/bench/read_spelled.py SCORES.pkl

Music for keyboard, quartet, voice and piano from Corelli to Beach, and every sixth of Bach's
chorales: 138 scores, 227,695 notes with music21 10.5.1.
"""

from __future__ import annotations

import argparse
import pickle
import warnings
from pathlib import Path

from music21 import converter, corpus
from music21.chord import Chord
from music21.harmony import ChordSymbol
from music21.note import Note

from engine.form.fifths import place_of

COMPOSERS = (
    "beethoven", "mozart", "haydn", "schumann_robert", "schumann_clara", "beach", "joplin",
    "schubert", "cpebach", "handel", "weber", "corelli", "johnson_j_r", "verdi",
)  # fmt: skip


def chosen():
    """Paths of the scores, by composer."""
    paths = [Path(p) for p in corpus.getCorePaths()]
    within = [(p, p.parts[p.parts.index("corpus") + 1]) for p in paths]
    main = [p for p, who in within if who in COMPOSERS and p.suffix != ".krn"]
    main += [p for p, who in within if who == "chopin"]
    chorales = [p for p, who in within if who == "bach" and "bwv" in p.name][::6]
    return [p for p in main + chorales if p.suffix != ".rntxt"]


def rows_of(score):
    """(onset in quarters, MIDI pitch, duration, place, part) of every note but tied-on ones."""
    rows = []
    for number, part in enumerate(score.parts):
        for thing in part.flatten().notes:
            if isinstance(thing, ChordSymbol):
                continue
            notes = thing.notes if isinstance(thing, Chord) else [thing]
            length = 0.0 if thing.duration.isGrace else float(thing.quarterLength)
            for note in notes:
                if not isinstance(note, Note) or note.pitch.alter % 1:
                    continue
                if note.tie is None or note.tie.type == "start":
                    place = place_of(note.pitch.step, int(note.pitch.alter))
                    rows.append((float(thing.offset), note.pitch.midi, length, place, number))
    return sorted(rows)


def read(path):
    """(name, rows, key signatures) of one score, at sounding pitch."""
    score = converter.parse(path)
    score = score.toSoundingPitch()
    first = score.parts[0].flatten().getElementsByClass("KeySignature")
    composer = path.parts[path.parts.index("corpus") + 1]
    return f"{composer}/{path.stem}", rows_of(score), [(float(k.offset), k.sharps) for k in first]


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    given = parser.parse_args()
    warnings.simplefilter("ignore")
    scores = [read(path) for path in chosen()]
    given.out.write_bytes(pickle.dumps([s for s in scores if len(s[1]) >= 30]))


if __name__ == "__main__":
    main()
