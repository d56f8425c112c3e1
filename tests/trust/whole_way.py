"""The whole way of a page: read, read back, played by the simulated pianist, reviewed, told."""

from __future__ import annotations

import json

import numpy as np

from engine.match_table import match_table
from engine.performance import pair_notes
from engine.proof import find_remarks
from engine.proof.as_json import proof_json
from engine.proof.read_back import read_back
from engine.read.score_file import read_score_bytes
from engine.result import result_json
from engine.review import review_take
from practice.player import CHARACTERS, perform


def go_the_whole_way(data: bytes) -> None:
    """All that is done with a page that can be opened.

    Raises:
        UndersongError: it cannot be opened.
    """
    page = read_score_bytes(data, "bent.musicxml")
    json.dumps(proof_json(page, find_remarks(page)), allow_nan=False)
    read_back(page)
    played = list(perform(page, CHARACTERS["demo"], np.random.default_rng(len(data))))
    review = review_take(page, pair_notes(played))
    json.dumps(result_json(page, review), allow_nan=False)
    match_table(page, review.recording.notes, review.findings)
