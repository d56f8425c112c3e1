"""Files bent at random: each ends in a result or in one clear line, in bounded time and memory.

usage: python -m tests.trust.fuzz [--cases N] [--seed N] [--format NAME ...]

The mutations know a little of the formats (numbers, tags, chunks); the random source is seeded.
"""

from __future__ import annotations

import argparse
import io
import os
import re
import resource
import sys
import time
import zipfile
from collections.abc import Callable, Collection, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import mido
import numpy as np

from engine.arrangement import Span
from engine.errors import UndersongError
from engine.performance import KeyEvent, Pulse
from engine.read.score_file import read_score_bytes
from engine.read.sidecar import read_sidecar
from practice.commands.import_folder import find_recordings
from practice.settings import load_settings
from practice.store.kept import KeptPass, PassDetail, TakeStart
from practice.store.recording import read_events
from practice.store.store import Store
from tests.trust.verdict import Verdict, table
from tests.trust.whole_way import go_the_whole_way

MOST_S, MOST_MB = 5.0, 1024.0
#: Going the whole way of a page takes many times as long as reading it: one case for so many.
WHOLE_WAY, ONE_FOR = "page, the whole way", 10
NOW = datetime(2026, 1, 2, tzinfo=UTC)
SCORES = Path(__file__).resolve().parents[1] / "fixtures" / "scores"
NUMBERS = (
    b"0",
    b"-1",
    b"1",
    b"3",
    b"1000000000",
    b"0.5",
    b"1e309",
    b"nan",
    b"",
    b"\xc3\xa9",
    b"7/8",
)

Rng = np.random.Generator
Mutation = Callable[[bytes, Rng], bytes]


def flip_bytes(data: bytes, rng: Rng) -> bytes:
    """A few bytes are others."""
    out = bytearray(data)
    for at in rng.integers(0, max(len(out), 1), int(rng.integers(1, 8))):
        if at < len(out):
            out[at] = int(rng.integers(0, 256))
    return bytes(out)


def cut_short(data: bytes, rng: Rng) -> bytes:
    """The end is missing."""
    return data[: int(rng.integers(0, len(data) + 1))]


def drop_or_double(data: bytes, rng: Rng) -> bytes:
    """A stretch is left out, or comes twice."""
    a, b = sorted(rng.integers(0, len(data) + 1, 2).tolist())
    b = min(b, a + 400)
    return data[:a] + (data[b:] if rng.random() < 0.5 else data[a:b] + data[a:])


def change_number(data: bytes, rng: Rng) -> bytes:
    """A number between tags or quotes is an odd one."""
    return _replace_one(data, rng, rb'(?<=[>"])-?[0-9.]+(?=[<"])', NUMBERS)


def change_tag(data: bytes, rng: Rng) -> bytes:
    """An element has another element's name."""
    names = [m.group() for m in re.finditer(rb"(?<=<)[a-z-]+", data)]
    return _replace_one(data, rng, rb"(?<=<)[a-z-]+", names or [b"note"])


def drop_element(data: bytes, rng: Rng) -> bytes:
    """A one-line element is left out."""
    return _replace_one(data, rng, rb"<([a-z-]+)[^<>]*>[^<>]*</\1>|<[a-z-]+[^<>]*/>", (b"",))


def _replace_one(data: bytes, rng: Rng, pattern: bytes, by: Sequence[bytes]) -> bytes:
    found = list(re.finditer(pattern, data))
    if not found:
        return data
    spot = found[int(rng.integers(0, len(found)))]
    return data[: spot.start()] + by[int(rng.integers(0, len(by)))] + data[spot.end() :]


PLAIN: tuple[Mutation, ...] = (flip_bytes, cut_short, drop_or_double)
#: What leaves a page that can often be opened.
MILD: tuple[Mutation, ...] = (change_number, change_tag, drop_element, change_number)
XML: tuple[Mutation, ...] = (*MILD, *PLAIN)


def bend(seeds: Sequence[bytes], mutations: Sequence[Mutation], rng: Rng) -> bytes:
    """One seed with one to three mutations."""
    data = seeds[int(rng.integers(0, len(seeds)))]
    for _ in range(int(rng.integers(1, 4))):
        data = mutations[int(rng.integers(0, len(mutations)))](data, rng)
    return data


def as_mxl(data: bytes) -> bytes:
    """The same score, compressed as MusicXML's container has it."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "META-INF/container.xml",
            '<container><rootfiles><rootfile full-path="score.musicxml"/></rootfiles></container>',
        )
        archive.writestr("score.musicxml", data)
    return out.getvalue()


def midi_seeds() -> list[bytes]:
    """Two small MIDI files, format 0 and 1."""
    seeds = []
    for kind in (0, 1):
        midi = mido.MidiFile(type=kind, ticks_per_beat=480)
        for hand in range(kind + 1):
            track = mido.MidiTrack()
            if hand == 0:
                track.append(mido.MetaMessage("set_tempo", tempo=600000))
                track.append(mido.MetaMessage("time_signature", numerator=6, denominator=8))
                track.append(mido.MetaMessage("key_signature", key="Gb"))
            for k in range(24):
                pitch = 64 - 24 * hand + k % 8
                track.append(mido.Message("note_on", note=pitch, velocity=64, time=0))
                track.append(mido.Message("control_change", control=64, value=k % 128, time=60))
                track.append(mido.Message("note_off", note=pitch, velocity=64, time=180))
            midi.tracks.append(track)
        out = io.BytesIO()
        midi.save(file=out)
        seeds.append(out.getvalue())
    return seeds


SIDECAR = b"""[[hands]]
bars = "5-8"
staff = 1
hand = "left"

[[fingering]]
note = "n3"
fingers = "5"

[[sections]]
name = "Inlet"
from = "5"
to = "20"
"""


def read_bent_score(data: bytes) -> None:
    """Read it as a score."""
    read_score_bytes(data, "bent.musicxml")


def read_bent_sidecar(data: bytes) -> None:
    """Read it as a sidecar."""
    read_sidecar(data, "bent.undersong.toml")


def read_bent_settings(data: bytes) -> None:
    """Read it as the settings file."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "settings.json"
        path.write_bytes(data)
        load_settings(path)


def read_bent_recording(data: bytes) -> None:
    """Read it as a recording to be reviewed."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "bent.mid"
        path.write_bytes(data)
        read_events(path)


def read_bent_store(data: bytes) -> None:
    """Open it as the take store and read all that is in it."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "takes.db"
        path.write_bytes(data)
        with Store(path) as store:
            store.recover(NOW)
            for take in store.takes():
                store.events(take.number)
            for kept in store.passes():
                store.detail(kept.take, kept.number)


def read_bent_folder(data: bytes) -> None:
    """Import from a folder of which the first bytes say what is in it."""
    with TemporaryDirectory() as name:
        folder = Path(name) / "recordings"
        folder.mkdir()
        for number, kind in enumerate(data[:6]):
            _put_something(folder, folder / f"{number}.mid", kind, data[6:])
        for path in find_recordings(folder):
            read_events(path)


def _put_something(folder: Path, path: Path, kind: int, data: bytes) -> None:
    """A link in a circle, to nothing, upwards or to a device; a pipe; a folder; a file."""
    targets = (folder, folder / "nowhere", folder.parent, Path("/dev/zero"), path)
    if kind % 8 < len(targets):
        path.symlink_to(targets[kind % 8])
    elif kind % 8 == 5:
        os.mkfifo(path)
    elif kind % 8 == 6:
        path.mkdir()
    else:
        path.write_bytes(data)


def store_seeds() -> list[bytes]:
    """A small store: a take with a pass, and one left open."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "takes.db"
        with Store(path) as store:
            for state in ("closed", "open"):
                start = TakeStart(
                    "0" * 64, "page", "", "", "played", NOW, Span(0, 0), "both", "free", 1.0
                )
                take = store.begin_take(start)
                events = [KeyEvent(k / 8, 0.0, bytes((0x90, 60 + k % 9, k % 3))) for k in range(90)]
                store.append(take, events, NOW)
                if state == "closed":
                    store.end_take(take, NOW)
                    store.add_pass(_kept_pass(take), PassDetail((), (), {}, ()))
        return [path.read_bytes()]


def _kept_pass(take: int) -> KeptPass:
    return KeptPass(
        take, 1, NOW, NOW.date().isoformat(), 0, 29, Span(0, 0), 0.0, 4.0, "both", Pulse("free"),
        60.0, True, 30, 0, 0, 0, 5.0, 4.0, True, "",
    )  # fmt: skip


def formats() -> Iterator[tuple[str, list[bytes], tuple[Mutation, ...], Callable[[bytes], None]]]:
    """Name, seeds, mutations and reader of each format."""
    scores = [path.read_bytes() for path in sorted(SCORES.glob("*.musicxml"))]
    yield "MusicXML", scores, XML, read_bent_score
    yield WHOLE_WAY, scores, MILD, go_the_whole_way
    yield "MXL", [as_mxl(s) for s in scores], PLAIN, read_bent_score
    yield "MIDI", midi_seeds(), PLAIN, read_bent_score
    yield "sidecar", [SIDECAR], PLAIN, read_bent_sidecar
    yield (
        "settings",
        [b'{"keyboard": "Stage", "window": {"scale": 1.25}}'],
        PLAIN,
        read_bent_settings,
    )
    yield "recording", midi_seeds(), PLAIN, read_bent_recording
    yield "take store", store_seeds(), PLAIN, read_bent_store
    folders = [bytes(kinds) + midi for midi in midi_seeds() for kinds in (range(6), range(2, 8))]
    yield "import folder", folders, PLAIN, read_bent_folder


def bend_files(cases: int, seed: int = 1, only: Collection[str] = ()) -> list[Verdict]:
    """Each format (or `only` those named) bent so often, pages the whole way a tenth of that."""
    return [
        _bend_format(
            name, seeds, mutations, read, cases // ONE_FOR if name == WHOLE_WAY else cases, seed
        )
        for name, seeds, mutations, read in formats()
        if not only or name in only
    ]


def _bend_format(
    name: str,
    seeds: list[bytes],
    mutations: Sequence[Mutation],
    read: Callable[[bytes], None],
    cases: int,
    seed: int,
) -> Verdict:
    rng = np.random.default_rng(seed)
    survived, first = 0, "nothing"
    for case in range(cases):
        data = bend(seeds, mutations, rng)
        trouble = _trouble_with(read, data)
        survived += not trouble
        if trouble and first == "nothing":
            first = f"case {case}: {trouble}"
    # The most of the whole process so far: no case took more.
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if peak_mb > MOST_MB:
        survived, first = 0, f"{peak_mb:.0f} MB of memory"
    return Verdict(f"bent: {name}", cases, survived, first)


def _trouble_with(read: Callable[[bytes], None], data: bytes) -> str:
    """ "" where the reader ended as it should, else what it did."""
    start_s = time.monotonic()
    try:
        read(data)
    except UndersongError as error:
        if "\n" in str(error):
            return "an error of more than one line"
    except Exception as error:
        return f"{type(error).__name__}: {error}"
    took_s = time.monotonic() - start_s
    return f"took {took_s:.1f} s" if took_s > MOST_S else ""


def main() -> int:
    """Bend, and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--format", action="append", default=[], metavar="NAME")
    options = parser.parse_args()
    verdicts = bend_files(options.cases, options.seed, options.format)
    print(table(verdicts), flush=True)
    return 0 if all(v.passed for v in verdicts) else 1


if __name__ == "__main__":
    sys.exit(main())
