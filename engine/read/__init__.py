"""Score files to arrangements. The only place where the engine opens a file."""

from __future__ import annotations

from engine.read.score_file import engravable_text, read_arrangement, read_score_bytes

__all__ = ["engravable_text", "read_arrangement", "read_score_bytes"]
