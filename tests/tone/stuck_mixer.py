"""The real mixer with channels in which something waits that nothing will ever begin.

usage: python -m tests.tone.stuck_mixer [--careless] [--seconds S]
With --careless such channels are played on at once, which ends the program (pygame 2.6.1); else as
`MixerChannels` has it. No card is needed.
"""

from __future__ import annotations

import argparse
import os
import sys
import threading
import time

os.environ["SDL_AUDIODRIVER"] = "dummy"
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")

import pygame

from practice.sound import mixer_channels
from practice.sound.mixer_channels import MixerChannels

RATE_HZ, BLOCK = 44_100, 64
COUNT = 6


def block(seconds: float = BLOCK / RATE_HZ) -> pygame.mixer.Sound:
    """Silence of that length."""
    return pygame.mixer.Sound(buffer=bytes(4 * round(seconds * RATE_HZ)))


def get_stuck(channel: pygame.mixer.Channel) -> bool:
    """Have a block wait in a channel that has ended; whether that went as meant."""
    sys.setswitchinterval(10.0)  # the mixer's thread is not let in meanwhile
    channel.play(block())
    sum(range(400_000))  # the block comes to its end
    channel.queue(block())
    sys.setswitchinterval(0.005)
    time.sleep(0.02)
    return channel.get_queue() is not None and not channel.get_busy()


def hold_the_interpreter(stop: threading.Event) -> None:
    """As a busy program does: for longer than a block at a time."""
    while not stop.is_set():
        sum(range(400_000))


def main() -> int:
    """Play on; how many stuck channels there were."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--careless", action="store_true")
    parser.add_argument("--seconds", type=float, default=3.0)
    options = parser.parse_args()
    mixer_channels.LEFT_S, mixer_channels.WASH_S = 0.1, 0.5
    pygame.mixer.init(RATE_HZ, -16, 2, BLOCK, allowedchanges=0)
    all_channels = [pygame.mixer.Channel(k) for k in range(COUNT)]
    channels, stuck = MixerChannels(all_channels, block(mixer_channels.WASH_S)), 0
    end_s = time.monotonic() + options.seconds
    while time.monotonic() < end_s:
        stop = threading.Event()
        holding = threading.Thread(target=hold_the_interpreter, args=(stop,))
        if options.careless:
            waiting = [channel for channel in all_channels if get_stuck(channel)]
            holding.start()
            for channel in waiting:
                channel.play(block())
        else:
            waiting = [channels.current] if get_stuck(channels.current) else []
            holding.start()
            if channels.change(time.monotonic()):
                channels.current.play(block())
        stuck += len(waiting)
        stop.set()
        holding.join()
    print(stuck)
    return 0


if __name__ == "__main__":
    sys.exit(main())
