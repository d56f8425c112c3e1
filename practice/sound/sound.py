"""The built-in piano, heard: rendered keys kept on disk, and a player that feeds the sound card."""

from __future__ import annotations

import io
from collections import deque
from pathlib import Path

import numpy as np
import numpy.typing as npt

from engine.tone.piano import MODEL_VERSION, RATE_HZ, KeySound, Piano, render_piano
from engine.tone.voices import Voices
from practice.clock import Clock
from practice.sound.audio_clock import AudioClock
from practice.sound.audio_device import AudioDevice
from practice.sound.instrument import close_at_exit
from practice.whole_file import whole_file

#: Frames handed to the card at a time: 11.6 ms, two of them at most waiting. With half of it the
#: card ran dry now and then on a busy machine of two cores.
BLOCK = 512
#: Room for a busy machine between handing a message over and the block that holds it.
SLACK_S = 0.008


def load_piano(cache: Path | None) -> Piano:
    """The rendered piano, from the cache folder if it is there, else rendered and put there.

    A cache that cannot be read or written is done without.
    """
    if cache is None:
        return render_piano()
    file = cache / f"piano-{MODEL_VERSION}-{RATE_HZ}.npz"
    try:
        return unpack_piano(file.read_bytes())
    except (OSError, ValueError, KeyError):
        piano = render_piano()
    keep_piano(file, piano)
    return piano


def keep_piano(file: Path, piano: Piano) -> None:
    """Put rendered keys into the cache; where that cannot be, they are rendered again next time."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with whole_file(file) as part:
            part.write_bytes(pack_piano(piano))
    except OSError:
        pass


def pack_piano(piano: Piano) -> bytes:
    """A piano as the bytes of a numpy archive."""
    out = io.BytesIO()
    keys = piano.keys
    np.savez(
        out,
        rate_hz=piano.rate_hz,
        soft=np.concatenate([k.soft for k in keys]),
        bright=np.concatenate([k.bright for k in keys]),
        lengths=np.array([(len(k.soft), len(k.bright)) for k in keys]),
        numbers=np.array([(k.soft_scale, k.bright_scale, *k.energy) for k in keys]),
    )
    return out.getvalue()


def unpack_piano(data: bytes) -> Piano:
    """The inverse of `pack_piano`. Raises ValueError or KeyError where it is no piano."""
    if not data.startswith(b"PK"):
        raise ValueError("not a rendered piano")
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as kept:
            parts = {name: kept[name] for name in kept.files}
    except Exception as error:
        raise ValueError(str(error)) from error
    ends = np.cumsum(parts["lengths"], axis=0)
    soft = np.split(parts["soft"], ends[:-1, 0])
    bright = np.split(parts["bright"], ends[:-1, 1])
    keys = tuple(
        KeySound(a, b, float(n[0]), float(n[1]), (float(n[2]), float(n[3]), float(n[4])))
        for a, b, n in zip(soft, bright, parts["numbers"], strict=True)
    )
    return Piano(int(parts["rate_hz"]), keys)


class BuiltInPiano:
    """The built-in piano and click on the sound card.

    Args:
        piano: the rendered keys.
        clock: the stamping clock.
        output_latency_s: from a sample's turn in the mixer to the ear, as the user found it.
        block: frames handed to the card at a time.

    Raises:
        UndersongError: there is no sound card.
    """

    def __init__(
        self, piano: Piano, clock: Clock, output_latency_s: float = 0.0, block: int = BLOCK
    ) -> None:
        self.clock = AudioClock(piano.rate_hz)
        self.output_latency_s = output_latency_s
        self._voices = Voices(piano)
        self._inbox: deque[tuple[float | None, bytes]] = deque()
        #: (when handed over, sample at which it would have begun to sound), by `mark`.
        self.marks: list[tuple[float, int]] = []
        self._silence = False
        block_s = block / piano.rate_hz
        self.lead_s = output_latency_s + 2 * block_s + SLACK_S
        self._device = AudioDevice(self._fill, self.clock, clock, piano.rate_hz, block)
        close_at_exit(self)

    @property
    def problem(self) -> str:
        """Why nothing is heard, as far as the card tells."""
        if not self._device.stopped:
            return ""
        return "no sound: the sound card has stopped; what you play is kept"

    @property
    def gaps(self) -> int:
        """Times the card ran dry or a block could not be made; should stay 0."""
        return self._device.gaps + self._device.failures

    @property
    def volume(self) -> float:
        """1 is as rendered."""
        return self._voices.volume

    @volume.setter
    def volume(self, value: float) -> None:
        self._voices.volume = min(max(value, 0.0), 2.0)

    def play(self, time_s: float, data: bytes) -> None:
        """Sound a message at `time_s`, exact to the sample."""
        self._inbox.append((time_s, data))

    def play_now(self, data: bytes) -> None:
        """Sound a message with the next block."""
        self._inbox.append((None, data))

    def mark(self, now_s: float) -> None:
        """Note where a message handed over now would sound, and play nothing."""
        self._inbox.append((now_s, b""))

    def silence(self) -> None:
        """Stop everything within a block and 10 ms."""
        self._inbox.clear()
        self._silence = True

    def close(self) -> None:
        """Silence it and let the card go."""
        self.silence()
        self._device.close()

    def sample_for(self, time_s: float) -> int:
        """The sample that is heard at a moment of the stamping clock."""
        return round(self.clock.sample_at(time_s - self.output_latency_s))

    def _fill(self, frames: int) -> npt.NDArray[np.int16]:
        """The next block, on the card's thread."""
        if self._silence:
            self._silence = False
            self._voices.silence()
        while self._inbox:
            time_s, data = self._inbox.popleft()
            if not data and time_s is not None:
                self.marks.append((time_s, self._voices.sample))
            elif time_s is None or not self.clock.running:
                self._voices.play(data)
            else:
                self._voices.schedule(self.sample_for(time_s), data)
        return np.asarray(self._voices.render(frames) * np.float32(32767.0), dtype=np.int16)
