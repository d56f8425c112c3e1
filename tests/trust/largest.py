"""Files as large as they may be, and valid: each is read in bounded time and memory.

usage: python -m tests.trust.largest [--share F] [--only WORDS ...]

Each is read in a process of its own, which has a gibibyte of addresses. The clock starts when
the reader's modules are loaded, as they are in the program from the second page on.
"""

from __future__ import annotations

import argparse
import io
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import mido
import numpy as np

from engine.read.limits import (
    MAX_BAR_Q,
    MAX_DIRECTIONS,
    MAX_DOCUMENT_NOTES,
    MAX_ELEMENTS,
    MAX_MIDI_BYTES,
    MAX_MIDI_NOTES,
    MAX_UNFOLDED_BARS,
    MAX_UNFOLDED_MARKS,
    MAX_UNFOLDED_NOTES,
    MAX_WRITTEN_NOTES,
)
from engine.read.sidecar import MAX_FIGURE_RULES, MAX_RULES, MAX_SIDECAR_BYTES
from practice.store.recording import LARGEST_EVENTS, LARGEST_FILE_BYTES
from tests.trust.fuzz import MOST_S, as_mxl
from tests.trust.verdict import Verdict

TICKS = 480
Rng = np.random.Generator
READ = """
import resource, sys, time
import engine.form.find, engine.form.spelling, engine.read.midi, mido
from engine.errors import UndersongError
from engine.read import read_arrangement
from practice.store.recording import read_recording
resource.setrlimit(resource.RLIMIT_AS, (2**30, 2**30))
form, path = sys.argv[1:]
begun = time.monotonic()
try:
    if form == "recording":
        said = f"{len(read_recording(path).notes)} notes"
    else:
        said = f"{len(read_arrangement(path).notes)} notes"
except UndersongError as error:
    said = f"refused: {error}"
print(time.monotonic() - begun, said, sep="\\t")
"""


def midi_page(notes: list[tuple[int, int, int, int]]) -> bytes:
    """A file of notes (track, tick on, tick off, key)."""
    midi = mido.MidiFile(type=1, ticks_per_beat=TICKS)
    for hand in sorted({track for track, *_ in notes}):
        track = mido.MidiTrack()
        events = [(off, 0, key) for t, _, off, key in notes if t == hand]
        events += [(on, 64, key) for t, on, _, key in notes if t == hand]
        now = 0
        for at, velocity, key in sorted(events):
            track.append(mido.Message("note_on", note=key, velocity=velocity, time=at - now))
            now = at
        midi.tracks.append(track)
    out = io.BytesIO()
    midi.save(file=out)
    return out.getvalue()


def midi_pages(rng: Rng, n: int) -> Iterator[tuple[str, bytes]]:
    """What makes a reader of MIDI work: one voice has most moments, and one track no hands."""
    every = range(n)
    yield "one key again and again", midi_page([(0, 96 * i, 96 * i + 96, 60) for i in every])
    keys = np.clip(60 + np.cumsum(rng.integers(-3, 4, n)), 21, 108).tolist()
    yield "a voice that wanders", midi_page([(0, 120 * i, 120 * i + 110, keys[i]) for i in every])
    chords = [rng.choice(np.arange(36, 85), 4, replace=False).tolist() for _ in range(n // 4)]
    notes = [(0, 240 * i, 240 * i + 230, key) for i, chord in enumerate(chords) for key in chord]
    yield "chords at random", midi_page(notes)
    figure, tune = (45, 52, 57, 60, 64, 60, 57, 52), (69, 72, 76, 74, 71, 69, 68, 70)
    low = [(1, 120 * i, 120 * i + 118, figure[i % 8] + i // 64 % 4) for i in range(2 * n // 3)]
    high = [(0, 480 * i, 480 * i + 470, tune[i * i % 8] + i // 16 % 4) for i in range(n // 6)]
    copies = [(track, on, off, key + 12) for track, on, off, key in high]
    yield "a figure under octaves", midi_page(low + high + copies)
    on = np.cumsum(rng.integers(20, 300, n)).tolist()
    free: dict[int, int] = {}
    played = []
    for at, length, key in zip(on, rng.integers(50, 900, n), rng.integers(30, 90, n), strict=True):
        if at >= free.get(key, 0):
            free[key] = at + int(length)
            played.append((0, at, free[key], int(key)))
    yield "played freely", midi_page(played)


def midi_of_others(share: float) -> Iterator[tuple[str, bytes]]:
    """A file full of what is no note."""
    note = b"\x00\x90\x3c\x40\x60\x3c\x00"
    others = {
        "tempos": b"\x01\xff\x51\x03\x07\xa1\x20",
        "time signatures": b"\x60\xff\x58\x04\x01\x03\x18\x08",
        "key signatures": b"\x01\xff\x59\x02\x03\x00",
        "markers": b"\x01\xff\x06\x02ab",
        "pedals": b"\x01\xb0\x40\x7f",
    }
    for name, event in others.items():
        count = min(MAX_UNFOLDED_MARKS - 2, (MAX_MIDI_BYTES - 100) // len(event))
        body = note + event * int(share * count) + b"\0\xff\x2f\0"
        yield f"nothing but {name}", _format_0(body)


def one_note(step: str = "C", octave: int = 4, duration: int = 1, more: str = "") -> str:
    """A note; `more` stands at its end."""
    return (
        f"<note><pitch><step>{step}</step><octave>{octave}</octave></pitch>"
        f"<duration>{duration}</duration><voice>1</voice>{more}</note>"
    )


def document(bars: list[str], divisions: int = 1) -> bytes:
    """A page of these bars."""
    attributes = f"<attributes><divisions>{divisions}</divisions></attributes>"
    inside = [f'<measure number="{k}">{bar}</measure>' for k, bar in enumerate(bars, 1)]
    inside[0] = inside[0].replace(">", f">{attributes}", 1)
    part = f'<part id="P1">{"".join(inside)}</part>'
    listed = '<part-list><score-part id="P1"><part-name>P</part-name></score-part></part-list>'
    return f'<score-partwise version="4.0">{listed}{part}</score-partwise>'.encode()


def _random_bars(rng: Rng, notes: int, each: int = 4) -> list[str]:
    steps, octaves = rng.integers(0, 7, notes).tolist(), rng.integers(2, 6, notes).tolist()
    every = [one_note("CDEFGAB"[s], o) for s, o in zip(steps, octaves, strict=True)]
    return ["".join(every[k : k + each]) for k in range(0, notes, each)]


def xml_pages(rng: Rng, share: float) -> Iterator[tuple[str, bytes]]:
    """What makes a reader of MusicXML work."""
    n = int(share * MAX_WRITTEN_NOTES)
    yield "notes at random", document(_random_bars(rng, n, 5))
    runs = [one_note("CDEFGAB"[k * k % 7], 3 + k % 3) for k in range(n)]
    yield "runs", document(["".join(runs[k : k + 8]) for k in range(0, n, 8)])
    yield "one bar", document(["".join(_random_bars(rng, min(n, 4 * int(MAX_BAR_Q))))], 4)
    bars = _random_bars(rng, int(share * MAX_UNFOLDED_BARS), 1)
    yield "a note a bar", document(bars)
    chord = "".join(_random_bars(rng, 9, 9)).replace("<note>", "<note><chord/>")
    yield "chords of ten", document([(one_note() + chord) * 4 for _ in range(n // 40)])
    lengths = rng.integers(1, 9973, n).tolist()
    odd = [one_note("CDEFGAB"[d % 7], 2 + d % 4, d) for d in lengths]
    yield "no two lengths alike", document(["".join(odd[k : k + 8]) for k in range(0, n, 8)], 9973)
    for times in (4, 40):
        bars = _random_bars(rng, int(share * MAX_UNFOLDED_NOTES / times), 7)
        bars[-1] += f'<barline><repeat direction="backward" times="{times}"/></barline>'
        yield f"{len(bars)} bars repeated", document(bars)
    tied = '<tie type="stop"/><tie type="start"/>'
    yield "one long tie", document(["".join(one_note(more=tied) for _ in range(5))] * (n // 5))
    grace = one_note().replace("<note>", "<note><grace/>").replace("<duration>1</duration>", "")
    yield "graces", document([grace * 4 + one_note(duration=4)] * (n // 5))
    rest = "<note><rest/><duration>1</duration><voice>1</voice></note>"
    yield "rests", document([one_note() + rest * 24] * int(share * MAX_DOCUMENT_NOTES / 25))
    same = [one_note(), *_random_bars(rng, 4)]
    yield "one bar again and again", document(same[1:] * int(share * MAX_UNFOLDED_BARS - 1))
    twins = [same[k * k % 5 % 2] for k in range(int(share * MAX_UNFOLDED_BARS))]
    yield "two bars by turns", document(twins)
    words = "<direction><direction-type><words>dim.</words></direction-type></direction>"
    said = document([one_note(duration=4) + words * int(share * MAX_DIRECTIONS / 1000)] * 1000)
    yield "words", said
    more = int(share * (MAX_ELEMENTS - 4 * MAX_DIRECTIONS))
    yield "elements", said.replace(b"<note>", b"<note>" + b'<x a="1"/>' * (more // 1000), 1000)


def sidecars(rng: Rng, share: float) -> Iterator[tuple[str, bytes, bytes]]:
    """A page beside a sidecar that says as much of it as one may."""
    bars, room = int(share * MAX_UNFOLDED_BARS), int(share * MAX_SIDECAR_BYTES)
    page = document(_random_bars(rng, int(share * MAX_WRITTEN_NOTES), 5))
    rules = int(share * MAX_RULES)
    each = max(1, bars // rules)
    starts = [1 + k * each for k in range(rules)]
    parts = [f'name = "S{k}"\nfrom = "{k}"\nto = "{k + each - 1}"' for k in starts]
    yield "sections", page, _rules("sections", parts)
    yield "phrases", page, _rules("phrases", [f'from = "{k}"\nto = "{k}"' for k in starts])
    all_bars = f'hand = "left"\nfrom = "1"\nto = "{bars}"'
    yield "hands", page, _rules("hands", [all_bars] * rules)
    lengths = [f"beats = {1 + k / 8}" for k in range(int(share * MAX_FIGURE_RULES))]
    yield "figures", page, _rules("figures", [f"{all_bars}\n{length}" for length in lengths])
    fingers, k = "[fingering]\n", 1
    while len(fingers) < room - 20:
        fingers += f'n{k} = "{1 + k % 5}"\n'
        k += 1
    yield "fingering", page, fingers.encode()


def _rules(kind: str, rules: list[str]) -> bytes:
    return "".join(f"[[{kind}]]\n{rule}\n" for rule in rules).encode()


def recordings(share: float) -> Iterator[tuple[str, bytes]]:
    """As many events as a recording may have."""
    for what, event in (
        ("keys", b"\x00\x90\x3c\x40\x01\x80\x3c\x40"),
        ("pedals", b"\x00\xb0\x40\x01\x01\xb0\x40\x7f"),
    ):
        count = min(LARGEST_EVENTS // 2 - 2, (LARGEST_FILE_BYTES - 100) // len(event))
        body = b"\x00\x90\x3c\x40\x60\x3c\x00" + event * int(share * count) + b"\0\xff\x2f\0"
        yield what, _format_0(body)


def _format_0(track: bytes) -> bytes:
    header = b"MThd" + (6).to_bytes(4) + b"\0\0\0\1" + TICKS.to_bytes(2)
    return header + b"MTrk" + len(track).to_bytes(4) + track


def largest_files(share: float, seed: int = 1) -> Iterator[tuple[str, str, bytes, bytes]]:
    """(Format, what it is, the file, its sidecar) of each, at a share of what is allowed."""
    rng = np.random.default_rng(seed)
    for what, data in (*midi_pages(rng, int(share * MAX_MIDI_NOTES)), *midi_of_others(share)):
        yield "MIDI", what, data, b""
    for what, data in xml_pages(rng, share):
        yield "MusicXML", what, data, b""
        if what == "notes at random":
            yield "MXL", what, as_mxl(data), b""
    for what, data, sidecar in sidecars(rng, share):
        yield "sidecar", what, data, sidecar
    for what, data in recordings(share):
        yield "recording", what, data, b""


def read_largest(share: float = 1.0, only: str = "", told: bool = False) -> list[Verdict]:
    """Each file read by itself; `share` of what is allowed, of those named by `only`."""
    found: dict[str, list[tuple[float, str, str]]] = {}
    for form, what, data, sidecar in largest_files(share):
        if only in f"{form}: {what}":
            took_s, said = _read_apart(form, data, sidecar)
            found.setdefault(form, []).append((took_s, what, said))
            if told:
                print(f"{took_s:6.2f} s  {form}: {what}: {said}", file=sys.stderr, flush=True)
    return [verdict_on(form, tried) for form, tried in found.items()]


def verdict_on(form: str, tried: list[tuple[float, str, str]]) -> Verdict:
    """What came of (seconds, what it was, what was said) of some files of one format."""
    bad = [t for t in tried if t[0] > MOST_S or t[2].startswith(("refused", "ended"))]
    took_s, what, said = max(bad or tried)
    lost = f"{what}: {took_s:.1f} s, {said}" if bad else f"nothing; at most {took_s:.1f} s ({what})"
    return Verdict(f"as large as may be: {form}", len(tried), len(tried) - len(bad), lost)


def _read_apart(form: str, data: bytes, sidecar: bytes) -> tuple[float, str]:
    """Seconds, and what came of it."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "largest.score"
        path.write_bytes(data)
        if sidecar:
            path.with_name(f"{path.name}.undersong.toml").write_bytes(sidecar)
        done = subprocess.run(
            [sys.executable, "-c", READ, form, str(path)],
            capture_output=True, text=True, timeout=600, check=False,
        )  # fmt: skip
    if done.returncode:
        return 0.0, f"ended with {done.returncode}: {done.stderr.splitlines()[-1:]}"
    took_s, said = done.stdout.rstrip("\n").split("\t", 1)
    return float(took_s), said


def main() -> int:
    """Read them, and print how long each took."""
    parser = argparse.ArgumentParser(prog="python -m tests.trust.largest", description=__doc__)
    parser.add_argument("--share", type=float, default=1.0, help="of what is allowed")
    parser.add_argument("--only", default="", help="words in the format's and the page's name")
    options = parser.parse_args()
    verdicts = read_largest(options.share, options.only, told=True)
    return 0 if verdicts and all(v.passed for v in verdicts) else 1


if __name__ == "__main__":
    sys.exit(main())
