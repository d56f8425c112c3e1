"""Plays a MIDI file into a virtual JACK port in its own time: the keyboard of the port tests.

usage: python midi_sender.py FILE CLIENT [--speed X] [--until S] [--stay S]
"""

import argparse
import os
import subprocess
import sys
import time

os.environ.setdefault("JACK_NO_START_SERVER", "1")
import mido
import rtmidi


def connected(port_name: str) -> bool:
    """Some input is connected to our port: jack_lsp says so."""
    listed = subprocess.run(["jack_lsp", "-c", port_name], capture_output=True, text=True).stdout
    return len(listed.splitlines()) > 1


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("file")
    parser.add_argument("client")
    parser.add_argument("--speed", type=float, default=1.0)
    parser.add_argument("--until", type=float, default=1e9, help="seconds of the file")
    parser.add_argument("--chatter", action="store_true", help="clock and sensing in between")
    parser.add_argument("--stay", type=float, default=0.5)
    options = parser.parse_args()
    out = rtmidi.MidiOut(rtmidi.API_UNIX_JACK, name=options.client)
    out.open_virtual_port("keys")
    deadline = time.perf_counter() + 30
    while not connected(f"{options.client}:keys"):
        if time.perf_counter() > deadline:
            sys.exit("nobody listens")
        time.sleep(0.05)
    time.sleep(0.3)
    start, at = time.perf_counter(), 0.0
    for message in mido.MidiFile(options.file):
        at += message.time
        if at > options.until:
            break
        while (left := start + at / options.speed - time.perf_counter()) > 0:
            if options.chatter:
                out.send_message([0xF8])
                out.send_message([0xFE])
            time.sleep(min(left, 0.02) if options.chatter else left)
        if not message.is_meta:
            out.send_message(message.bytes())
    time.sleep(options.stay)


if __name__ == "__main__":
    main()
