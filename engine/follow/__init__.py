"""Which score note each played note was: live and over a whole take."""

from engine.follow.align import align
from engine.follow.follower import Follower, Place
from engine.follow.passes import find_passes

__all__ = ["Follower", "Place", "align", "find_passes"]
