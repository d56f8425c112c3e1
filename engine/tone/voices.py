"""From MIDI messages to stereo samples: exact to the sample, the same offline and live.

Messages are given with the sample they belong to, or played at once; `render` hands out the next
samples. Channel 10 is the click. Each other channel is a player with pedals of its own.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from engine.performance import DAMPER, SOFT, SOSTENUTO
from engine.tone.click import PERCUSSION_CHANNEL, render_click
from engine.tone.piano import FULL_LEVEL, KeySound, Piano, hardness_of, loudness_of
from engine.tone.room import LONGEST_BLOCK, Ring
from engine.tone.strings import HIGHEST_KEY, LOWEST_KEY, find_damper_db_s

Block = npt.NDArray[np.float32]

#: Controllers by the MIDI 1.0 specification.
ALL_SOUND_OFF, RESET_CONTROLLERS, ALL_NOTES_OFF = 120, 121, 123
#: The damper begins to leave the strings here and is clear of them there (64 is half way up);
#: instruments differ, most lie between 30 and 90 (from memory).
DAMPER_TOUCHES, DAMPER_CLEAR = 34, 94
#: Una corda: softer and duller.
SOFT_PEDAL_LEVEL, SOFT_PEDAL_HARDNESS = 0.8, 0.75
#: A voice quieter than this (90 dB under full) is let go.
SILENT = 3e-5
#: How fast a stopped or stolen voice is faded, dB a second: about 10 ms.
STOP_DB_S = 6000.0
#: A key struck again stills the sound of the stroke before, so fast.
RESTRIKE_DB_S = 400.0
SEGMENT = 512
_NEPERS_PER_DB = float(np.log(10.0) / 20.0)


@dataclass(slots=True)
class _Channel:
    damper: int = 0
    sostenuto: bool = False
    soft: bool = False


@dataclass(slots=True)
class _Voice:
    """One stroke sounding; `level` is the envelope so far, `fall_db_s` how fast it is stopped."""

    channel: int
    pitch: int
    sound: KeySound
    gains: tuple[float, float]
    pan: tuple[float, float]
    amplitude: float
    at: int = 0
    level: float = 1.0
    held: bool = True
    caught: bool = False
    fall_db_s: float = 0.0


@dataclass(slots=True)
class _Click:
    sound: Block
    at: int = 0


@dataclass(order=True, slots=True)
class _Due:
    sample: int
    order: int
    data: bytes = field(compare=False)


class Voices:
    """A piano with all its notes sounding.

    Args:
        piano: the rendered keys.
        polyphony: strokes that may sound at once; beyond it the quietest is faded.
        room: level of the room around it, 0 for none (then a lone note is the bare model).
    """

    def __init__(self, piano: Piano, polyphony: int = 96, room: float = 0.09) -> None:
        self._piano = piano
        self._polyphony = polyphony
        self._room = room
        self._channels = [_Channel() for _ in range(16)]
        self._voices: list[_Voice] = []
        self._clicks: list[_Click] = []
        self._due: list[_Due] = []
        self._order = 0
        self._walls = Ring(piano.rate_hz, 0.7)
        self._strings = Ring(piano.rate_hz, 3.0)
        #: Samples handed out so far: the number of the next one.
        self.sample = 0
        self.volume = 1.0

    @property
    def sounding(self) -> int:
        """Strokes now sounding, clicks left out."""
        return len(self._voices)

    def schedule(self, sample: int, data: bytes) -> None:
        """Play a message when the given sample is reached (at once if it is past)."""
        heapq.heappush(self._due, _Due(sample, self._order, data))
        self._order += 1

    def forget(self) -> None:
        """Drop everything scheduled and not yet played."""
        self._due.clear()

    def silence(self) -> None:
        """Stop everything: scheduled, sounding, ringing; pedals up. Takes 10 ms, without a snap."""
        self.forget()
        self._channels = [_Channel() for _ in range(16)]
        for voice in self._voices:
            voice.fall_db_s = STOP_DB_S
        self._clicks.clear()
        self._strings.still()
        self._walls.still()

    def play(self, data: bytes) -> None:
        """Play a message now. Any bytes are taken; what is no message is passed over."""
        if len(data) < 3 or any(b > 0x7F for b in data[1:3]):
            return
        kind, channel = data[0] & 0xF0, data[0] & 0x0F
        if kind == 0x90 and data[2] > 0:
            self._strike(channel, data[1], data[2])
        elif kind in (0x80, 0x90):
            self._lift(channel, data[1])
        elif kind == 0xB0:
            self._control(channel, data[1], data[2])

    def render(self, n: int) -> Block:
        """The next n samples, stereo, within ±1; shape (n, 2)."""
        out = np.zeros((n, 2), np.float32)
        done = 0
        while done < n:
            self._play_due()
            step = min(n - done, SEGMENT, LONGEST_BLOCK, self._until_due())
            self._render_segment(out[done : done + step])
            self.sample += step
            done += step
        return _limit(out * np.float32(self.volume))

    def _play_due(self) -> None:
        while self._due and self._due[0].sample <= self.sample:
            self.play(heapq.heappop(self._due).data)

    def _until_due(self) -> int:
        return self._due[0].sample - self.sample if self._due else SEGMENT

    def _render_segment(self, out: Block) -> None:
        n = len(out)
        left, right = np.zeros(n, np.float32), np.zeros(n, np.float32)
        self._voices = [v for v in self._voices if self._add_voice(v, left, right)]
        if self._room > 0.0:
            self._add_ring(left, right)
        self._clicks = [c for c in self._clicks if _add_click(c, left, right)]
        out[:, 0], out[:, 1] = left, right

    def _add_voice(self, voice: _Voice, left: Block, right: Block) -> bool:
        """Mix one stroke in; False when it is over. About six array operations."""
        n = len(left)
        mono = np.zeros(n, np.float32)
        for layer, gain in zip((voice.sound.soft, voice.sound.bright), voice.gains, strict=True):
            part = layer[voice.at : voice.at + n]
            if gain > 0.0 and len(part):
                mono[: len(part)] += part * np.float32(gain)
        self._damp(voice, mono)
        left += mono * np.float32(voice.pan[0])
        right += mono * np.float32(voice.pan[1])
        voice.at += n
        return voice.at < len(voice.sound.soft) and voice.level * voice.amplitude > SILENT

    def _damp(self, voice: _Voice, mono: Block) -> None:
        rate = self._damping_db_s(voice)
        if rate > 0.0:
            fall = -rate * _NEPERS_PER_DB / self._piano.rate_hz
            curve = voice.level * np.exp(fall * np.arange(1, len(mono) + 1))
            mono *= curve.astype(np.float32)
            voice.level = float(curve[-1])
        elif voice.level != 1.0:
            mono *= np.float32(voice.level)

    def _damping_db_s(self, voice: _Voice) -> float:
        if voice.held or voice.caught:
            return voice.fall_db_s
        laid = 1.0 - _damper_lift(self._channels[voice.channel].damper)
        return max(voice.fall_db_s, laid * find_damper_db_s(voice.pitch))

    def _add_ring(self, left: Block, right: Block) -> None:
        mono = (left + right) * np.float32(0.5)
        lift = max(_damper_lift(c.damper) for c in self._channels)
        self._strings.set_ring(0.25 + 2.75 * lift)
        walls = self._walls.feed(mono)
        strings = self._strings.feed(mono * np.float32(lift))
        ring = walls * np.float32(self._room * 4) + strings * np.float32(self._room * 2)
        left += ring[0]
        right += ring[1]

    def _strike(self, channel: int, pitch: int, velocity: int) -> None:
        if channel == PERCUSSION_CHANNEL:
            self._clicks.append(_Click(_weigh_click(pitch, velocity, self._piano.rate_hz)))
            return
        for voice in self._voices:
            if voice.channel == channel and voice.pitch == pitch and not voice.fall_db_s:
                voice.held = voice.caught = False
                voice.fall_db_s = RESTRIKE_DB_S
        self._make_room()
        soft = self._channels[channel].soft
        hardness = hardness_of(velocity) * (SOFT_PEDAL_HARDNESS if soft else 1.0)
        amplitude = FULL_LEVEL * loudness_of(velocity) * (SOFT_PEDAL_LEVEL if soft else 1.0)
        sound = self._piano.key(pitch)
        gains = sound.gains(amplitude, hardness)
        self._voices.append(_Voice(channel, pitch, sound, gains, _find_pan(pitch), amplitude))

    def _make_room(self) -> None:
        live = [v for v in self._voices if v.fall_db_s < STOP_DB_S]
        if len(live) >= self._polyphony:
            quietest = min(live, key=lambda v: (v.held, v.level * v.amplitude / (1 + v.at)))
            quietest.fall_db_s = STOP_DB_S

    def _lift(self, channel: int, pitch: int) -> None:
        for voice in self._voices:
            if voice.channel == channel and voice.pitch == pitch:
                voice.held = False

    def _control(self, channel: int, controller: int, value: int) -> None:
        state = self._channels[channel]
        if controller == DAMPER:
            state.damper = value
        elif controller == SOFT:
            state.soft = value >= 64
        elif controller == SOSTENUTO:
            self._catch(channel, value >= 64)
        elif controller == RESET_CONTROLLERS:
            self._catch(channel, False)
            self._channels[channel] = _Channel()
        elif controller == ALL_SOUND_OFF:
            self._stop(channel)
        elif controller >= ALL_NOTES_OFF:
            for voice in self._of(channel):
                voice.held = False

    def _catch(self, channel: int, down: bool) -> None:
        state = self._channels[channel]
        if down and not state.sostenuto:
            for voice in self._of(channel):
                voice.caught = voice.held
        elif not down:
            for voice in self._of(channel):
                voice.caught = False
        state.sostenuto = down

    def _stop(self, channel: int) -> None:
        for voice in self._of(channel):
            voice.held = voice.caught = False
            voice.fall_db_s = STOP_DB_S

    def _of(self, channel: int) -> list[_Voice]:
        return [v for v in self._voices if v.channel == channel]


def _damper_lift(value: int) -> float:
    """How far the dampers are off the strings, 0 to 1, for a value of controller 64."""
    return min(max((value - DAMPER_TOUCHES) / (DAMPER_CLEAR - DAMPER_TOUCHES), 0.0), 1.0)


def _find_pan(pitch: int) -> tuple[float, float]:
    """Left and right gains: the bass a little left, as from the bench; power kept."""
    place = (min(max(pitch, LOWEST_KEY), HIGHEST_KEY) - LOWEST_KEY) / (HIGHEST_KEY - LOWEST_KEY)
    angle = np.pi / 2 * (0.3 + 0.4 * place)
    return float(np.cos(angle)), float(np.sin(angle))


def _weigh_click(pitch: int, velocity: int, rate_hz: int) -> Block:
    return np.asarray(render_click(pitch, rate_hz) * np.float32(velocity / 127.0))


def _add_click(click: _Click, left: Block, right: Block) -> bool:
    part = click.sound[click.at : click.at + len(left)]
    left[: len(part)] += part
    right[: len(part)] += part
    click.at += len(left)
    return click.at < len(click.sound)


def _limit(sound: Block) -> Block:
    """Leave everything below 0.7 as it is and bend what is above it to stay under 1."""
    over = np.abs(sound) > 0.7
    if over.any():
        loud = sound[over]
        sound[over] = np.sign(loud) * (0.7 + 0.3 * np.tanh((np.abs(loud) - 0.7) / 0.3))
    return sound
