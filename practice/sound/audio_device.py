"""The sound card, through pygame's mixer: it is handed block after block, and says when one began.

One channel plays one block while the next waits in its queue. A block is exactly as long as the
mixer's own, so that one follows the other without a gap, and a block leaving the queue tells what
time it is on the card's clock.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from engine.errors import UndersongError
from practice.clock import Clock
from practice.ports.rtmidi_driver import quiet_libraries
from practice.sound.audio_clock import AudioClock
from practice.sound.mixer_channels import CHANNELS, WASH_S, MixerChannels

#: Asked for with a number of frames; gives int16 of shape (frames, 2).
Fill = Callable[[int], npt.NDArray[np.int16]]
STEREO = 2
_FRAME_BYTES = 2 * STEREO
_LOOK_S = 0.001
#: While one block follows the other the channel is for a moment between them and looks idle.
_CHANGING_S, _LOOKS = 0.0005, 12
#: A card that has taken nothing for so long has stopped.
STOPPED_S = 3.0
#: What still plays when no more is fed is over by then.
_LAST_S = 0.1


class AudioDevice:
    """An open sound card, fed by a thread of its own.

    Args:
        fill: gives the next samples; called on that thread. If it raises, the block is silent.
        card_clock: told when a block begins, and when the card ran dry.
        clock: the stamping clock. rate_hz: samples a second.
        block: frames handed over at a time, a power of two (the mixer takes no other).

    Raises:
        UndersongError: there is no sound card, or it cannot be opened.
    """

    def __init__(
        self, fill: Fill, card_clock: AudioClock, clock: Clock, rate_hz: int, block: int
    ) -> None:
        os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
        import pygame

        self._fill, self._card_clock, self._clock = fill, card_clock, clock
        self._block = block
        #: Times the card ran dry, and blocks that could not be made: both should stay 0.
        self.gaps = 0
        self.failures = 0
        self._handed = 0
        self._fed_s = clock.now_s()
        self._began = False
        self._waiting: Any = None
        try:
            with quiet_libraries():
                pygame.mixer.init(rate_hz, -16, STEREO, block, allowedchanges=0)
        except pygame.error as error:
            raise _no_sound(error) from error
        pygame.mixer.set_num_channels(CHANNELS)
        silence = pygame.mixer.Sound(buffer=bytes(round(WASH_S * rate_hz) * _FRAME_BYTES))
        channels = [pygame.mixer.Channel(k) for k in range(CHANNELS)]
        self._channels = MixerChannels(channels, silence)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._feed, name="sound", daemon=True)
        self._thread.start()

    @property
    def stopped(self) -> bool:
        """It takes nothing any longer; one that was pulled out may go on taking."""
        return self._clock.now_s() > self._fed_s + STOPPED_S and not self._stop.is_set()

    def close(self) -> None:
        """Stop feeding and let the card go. May be called twice."""
        import pygame

        self._stop.set()
        self._thread.join(1.0)
        if pygame.mixer.get_init():
            # an end that the mixer's thread comes to while the mixer goes finds nothing there
            time.sleep(_LAST_S)
            pygame.mixer.quit()

    def _feed(self) -> None:
        while not self._stop.is_set():
            try:
                fed = self._feed_once()
            except Exception:  # the card may have gone; it may come again
                self.failures += 1
                fed = False
            if fed:
                self._fed_s = self._clock.now_s()
            else:
                self._clock.wait(self._stop, _LOOK_S)

    def _feed_once(self) -> bool:
        """Hand over a block where one is wanted; False where the card has enough."""
        if self._channel.get_queue() is None:
            self._take_turn()
        elif self._is_idle() and self._channel.get_queue() is not None:
            return self._wake()
        else:
            return False
        return True

    @property
    def _channel(self) -> Any:
        return self._channels.current

    def _take_turn(self) -> None:
        """The block that waited has begun, or the card ran dry: hand over the next."""
        now_s = self._clock.now_s()
        if self._handed and self._is_idle():
            self._ran_dry()
        elif self._began:
            self._card_clock.hear_taken(now_s, self._handed - self._block)
        else:  # given to an idle channel, it left the queue before the card asked for it
            self._began = self._handed > 0
        self._waiting = self._make_block()
        self._channel.queue(self._waiting)
        self._handed += self._block

    def _is_idle(self) -> bool:
        """Nothing plays, and not only because the next block is just being begun."""
        for _ in range(_LOOKS):
            if self._channel.get_busy():
                return False
            self._clock.wait(self._stop, _CHANGING_S)
        return True

    def _wake(self) -> bool:
        """A block was queued just as the one before it ended, and nothing would ever start it.

        Another channel plays it.
        """
        if not self._channels.change(self._clock.now_s()):
            return False
        self._ran_dry()
        self._channel.play(self._waiting)
        return True

    def _ran_dry(self) -> None:
        self.gaps += 1
        self._began = False
        self._card_clock.restart()

    def _make_block(self) -> Any:
        import pygame

        try:
            data = self._fill(self._block).tobytes()
        except Exception:
            self.failures += 1
            data = bytes(self._block * _FRAME_BYTES)
        return pygame.mixer.Sound(buffer=data)


def check_card() -> None:
    """See that there is a sound card.

    Raises:
        UndersongError: there is none, or it cannot be opened.
    """
    os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
    import pygame

    try:
        with quiet_libraries():
            pygame.mixer.init()
    except pygame.error as error:
        raise _no_sound(error) from error
    pygame.mixer.quit()


def _no_sound(error: Exception) -> UndersongError:
    why = " ".join(str(error).split()) or type(error).__name__
    return UndersongError(
        f"no sound ({why})", "sound card", "connect one, or send the notes on with --out PORT"
    )
