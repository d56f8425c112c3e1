"""The mixer's channels, one in use at a time: which may be played on without ending the program.

When a channel comes to an end, the mixer's own thread looks whether something waits in its queue,
then waits for the interpreter, and then takes what waits there without looking again. Whoever has
emptied that queue meanwhile has ended the program. Only `play` empties a queue, so it may not be
called where something waits, but for a sound so long that no end can come while it is called.
(pygame 2.6.1, `endsound_callback` and `chan_play` in src_c/mixer.c.)
"""

from __future__ import annotations

from collections import deque
from typing import Any

#: Channels asked for. On a busy machine a few are left a minute.
CHANNELS = 32
#: How long one that was left is not looked at: an end that waits for the interpreter is over then.
LEFT_S = 2.0
#: Played where something waits that nothing will ever begin; longer than any call of `play` takes.
WASH_S = 2.0


class MixerChannels:
    """The channel in use, those that are clean, and those that were left or are being washed.

    Args:
        channels: of the mixer, nothing playing. silence: a sound of `WASH_S`.
    """

    def __init__(self, channels: list[Any], silence: Any) -> None:
        self.current = channels[0]
        self._silence = silence
        self._clean = deque(channels[1:])
        # each with the time before which it is not looked at, in order
        self._left: deque[tuple[float, Any]] = deque()
        self._washed: deque[tuple[float, Any]] = deque()

    def change(self, now_s: float) -> bool:
        """Leave the channel in use for a clean one; False where there is none yet."""
        for channel in _due(self._washed, now_s):
            if channel.get_busy() or channel.get_queue() is not None:
                self._leave(channel, now_s)
            else:
                self._clean.append(channel)
        for channel in _due(self._left, now_s):
            if channel.get_busy():
                self._leave(channel, now_s)
            else:
                channel.play(self._silence)
                self._washed.append((now_s + WASH_S + LEFT_S, channel))
        if not self._clean:
            return False
        self._leave(self.current, now_s)
        self.current = self._clean.popleft()
        return True

    def _leave(self, channel: Any, now_s: float) -> None:
        self._left.append((now_s + LEFT_S, channel))


def _due(waiting: deque[tuple[float, Any]], now_s: float) -> list[Any]:
    """Taken out: those whose time has come."""
    due = []
    while waiting and waiting[0][0] <= now_s:
        due.append(waiting.popleft()[1])
    return due
