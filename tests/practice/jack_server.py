"""A JACK server with no sound card, for tests and benchmarks on real MIDI ports.

A program that does not take its turn within a period loses what came in it, so a busy machine
needs long periods: 21 ms for tests, which look at order and content, 5 ms for benchmarks.
"""

import contextlib
import os
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

import pytest

#: A busy machine takes seconds to start one.
START_S = 40.0


def why_not():
    """Why there can be no server here, "" where there can."""
    missing = [name for name in ("jackd", "jack_lsp") if shutil.which(name) is None]
    return f"{' and '.join(missing)} missing: install jackd2 to test real ports" if missing else ""


def server_environment(kind="undersong"):
    """The environment of programs that are to use a server of this kind, running or not."""
    name = f"{kind}-{os.getpid()}"
    return {**os.environ, "JACK_DEFAULT_SERVER": name, "JACK_NO_START_SERVER": "1"}


@contextlib.contextmanager
def running_server(period_frames=1024, env=None):
    """Start a server; yields the environment for programs that are to use it."""
    env = dict(env or server_environment())
    name = env["JACK_DEFAULT_SERVER"]
    command = ["jackd", "-n", name, "-r", "-d", "dummy", "-r", "48000", "-p", str(period_frames)]
    with tempfile.NamedTemporaryFile(suffix=".log") as log:
        env["JACK_TEST_LOG"] = log.name
        with _one_at_a_time():
            _clear_dead_servers()
            server = subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT)
        try:
            _wait_until_up(env)
            yield env
        finally:
            server.terminate()
            try:
                server.wait(10)
            except subprocess.TimeoutExpired:
                server.kill()


def times_skipped(env):
    """How often the server has gone on without a program that was not ready in its period."""
    with open(env["JACK_TEST_LOG"], encoding="utf-8", errors="replace") as log:
        return sum("was not finished" in line for line in log)


def fairly(jack, attempt):
    """Try again where the server itself says that it went on without a program that was not ready,
    for then notes are lost before they come here; on a machine too busy for that, skip."""
    for _ in range(3):
        before = times_skipped(jack)
        try:
            attempt()
        except AssertionError:
            if times_skipped(jack) == before:
                raise
        else:
            return
    pytest.skip("the machine is too busy: in three tries the JACK server skipped a program")


@contextlib.contextmanager
def _one_at_a_time():
    """Of tests in several processes: one would clear away what another has just begun."""
    import fcntl  # not on Windows, where these tests are skipped

    with open(Path(tempfile.gettempdir()) / "undersong-jack.lock", "w", encoding="utf-8") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _clear_dead_servers():
    """Servers that were killed leave their slots taken, and after eight no other starts."""
    if subprocess.run(["pgrep", "-x", "jackd"], capture_output=True, check=False).returncode == 1:
        for left in Path("/dev/shm").glob("jack*"):
            shutil.rmtree(left) if left.is_dir() else left.unlink(missing_ok=True)


def _wait_until_up(env):
    deadline = time.monotonic() + START_S
    while time.monotonic() < deadline:
        listed = subprocess.run(["jack_lsp"], env=env, capture_output=True, check=False)
        if listed.returncode == 0:
            return
        time.sleep(0.05)
    told = Path(env["JACK_TEST_LOG"]).read_text(encoding="utf-8", errors="replace")
    pytest.skip(f"no JACK server came up in {START_S:.0f} s: {told[-300:].strip()}")
