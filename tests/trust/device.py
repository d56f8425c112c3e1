"""A MIDI device that can be told to do anything: real JACK ports in a process of its own.

usage: python -m tests.trust.device, commands on standard input, "done" after each:
plug CLIENT; send HEX[ HEX...]; pour SEED SECONDS (random messages, as many as go); unplug; quit
"""

from __future__ import annotations

import os
import sys
import time
from typing import Any

import numpy as np


def main() -> None:
    """Obey until told to quit."""
    os.environ.setdefault("JACK_NO_START_SERVER", "1")
    import rtmidi

    port: Any = None
    for line in sys.stdin:
        order, *told = line.split()
        if order == "quit":
            break
        if order == "plug":
            port = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=told[0])
            port.open_virtual_port("keys")
        elif order == "unplug":
            port.close_port()
            port.delete()
            port = None
        elif order == "send":
            for message in told:
                port.send_message(bytes.fromhex(message))
        elif order == "pour":
            print(_pour(port, int(told[0]), float(told[1])))
        print("done", flush=True)


def _pour(port: Any, seed: int, seconds: float) -> int:
    """Messages of every kind at random, without a pause; how many."""
    rng, until_s, sent = np.random.default_rng(seed), time.monotonic() + seconds, 0
    while time.monotonic() < until_s:
        for kind, a, b in rng.integers(0, 128, (200, 3)).tolist():
            port.send_message(_SPOUT[kind % len(_SPOUT)](a, b))
        sent += 200
        time.sleep(0.005)
    return sent


_SPOUT = (
    lambda a, b: bytes((0x90, a, b)),
    lambda a, b: bytes((0x80, a, b)),
    lambda a, b: bytes((0xB0, a, b)),
    lambda a, b: b"\xfe",
    lambda a, b: b"\xf8",
    lambda a, b: bytes((0xF0, a, b, 0xF7)),
    lambda a, b: bytes((0xE0, a, b)),
)


if __name__ == "__main__":
    main()
