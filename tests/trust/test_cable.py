"""The cable pulled a few times on real ports, and a JACK server that comes after the program."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.practice.jack_server import running_server, server_environment, why_not
from tests.trust.cable import unplug_many

ROOT = Path(__file__).resolve().parents[2]
LOOKS = """
import sys, time
from practice.ports.rtmidi_driver import RtmidiDriver
driver = RtmidiDriver()
print(driver.inputs(), flush=True)
until_s = time.monotonic() + 60
while not driver.inputs() and time.monotonic() < until_s:
    time.sleep(0.1)
print(driver.inputs(), flush=True)
"""


@pytest.fixture(autouse=True)
def _needs_jack():
    if why := why_not():
        pytest.skip(why)


def test_when_the_cable_is_pulled_another_device_or_the_twin_is_heard():
    verdict = unplug_many(2, follow=False)
    assert verdict.passed, verdict


def test_a_jack_server_that_starts_later_is_noticed():
    env = server_environment("undersong-late")
    looks = subprocess.Popen(
        [sys.executable, "-c", LOOKS], env=env, cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    assert looks.stdout is not None
    assert looks.stdout.readline() == "[]\n"
    device = [sys.executable, "-m", "tests.trust.device"]
    with (
        running_server(env=env),
        subprocess.Popen(device, env=env, cwd=ROOT, stdin=subprocess.PIPE, text=True) as late,
    ):
        try:
            assert late.stdin is not None
            late.stdin.write("plug Late\n")
            late.stdin.flush()
            assert looks.stdout.readline() == "['Late:keys']\n"
            assert looks.wait(60) == 0
        finally:
            late.kill()
            looks.kill()
            looks.stdout.close()
