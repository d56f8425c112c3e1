"""The rules of the plan: each with the study it comes from, and how strong that is.

Where no study is known, it says so. None of them promises anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from practice.store.section_store import KeptSection

Strength = Literal["moderate", "weak", "none known"]


@dataclass(frozen=True, slots=True)
class Rule:
    """What is done, the study, what it found, and how far that carries."""

    name: str
    what: str
    source: str
    found: str
    strength: Strength


RULES: dict[str, Rule] = {
    rule.name: rule
    for rule in (
        Rule(
            "warm-up", "begin with a few easy minutes", "common practice", "", "none known"
        ),
        Rule(
            "break", "a short rest after every so many minutes",
            "common practice among clinicians who know musicians", "", "none known",
        ),
        Rule(
            "cold", "the first pass of a day is the test of what was kept",
            "Simmons 2012, J Res Music Educ 59:357-368",
            "three sessions of a nine-note task: more accurate only after 24 hours, not after five "
            "minutes or six hours (n = 29)",
            "moderate",
        ),
        Rule(
            "recall", "sections come back when about to be forgotten, over days and not minutes",
            "Simmons 2012; Wiseheart, D'Souza and Chae 2017, PLOS ONE 12:e0182986",
            "nights help; lags up to 15 minutes made no difference. What exactly is due is told by "
            "a model made for learning words (fsrs); that it holds for playing is not shown",
            "weak",
        ),
        Rule(
            "turns", "sections by short turns instead of one long block",
            "Carter and Grahn 2016, Front Psychol 7:1251",
            "where ratings differed, turns of three minutes were rated higher, the next day too "
            "(n = 10); another study with beginners found no main effect",
            "weak",
        ),
        Rule(
            "slower", "after two faulty passes at one spot, take it slower",
            "Duke, Simmons and Cash 2009, J Res Music Educ 56:310-321",
            "the best next-day players were those with the largest share of correct passes, "
            "whatever the time or number of passes (n = 17, not an experiment)",
            "weak",
        ),
        Rule(
            "ladder", "the tempo rises a step that can just be told",
            "step size: Drake and Botte 1993, Percept Psychophys 54:277-286",
            "differences of about 3 % are noticed. Whether steps, or slow and fast by turns, teach "
            "more is not settled",
            "weak",
        ),
        Rule(
            "apart", "each hand alone where both together fall apart twice", "common practice",
            "on simulated learners, whose model is our own, beginning every section with each hand "
            "alone took twice as long; the model gives hands alone little merit",
            "none known",
        ),
        Rule("join", "hands together once each is steady", "common practice", "", "none known"),
        Rule(
            "parting", "passages that begin alike are played one after the other",
            "Chaffin, Imreh and Crawford 2002 (book, as reported)",
            "a pianist gave such switches extra practice (a case study)",
            "weak",
        ),
        Rule(
            "look-alikes", "never two look-alike passages new on one day",
            "Allen 2013, Psychol Music, doi 10.1177/0305735612463947",
            "a second similar melody learnt afterwards took away the overnight gain (n = 60)",
            "moderate",
        ),
        Rule(
            "new", "a few new sections a day, in order of playing, hands together and slowly",
            "common practice; how many is not known", "", "none known",
        ),
        Rule(
            "run-through", "the whole form, without stopping, before a date and when all is steady",
            "common practice; restarting from landmarks: Chaffin and Logan 2006, Adv Cogn Psychol "
            "2:113-130 (case studies)",
            "", "weak",
        ),
        Rule(
            "enough", "stop an item after so many good passes in a row",
            "no direct evidence was found for any number in a row", "", "none known",
        ),
    )
}  # fmt: skip

#: How a cold pass is rated for the spacing model, first line that fits.
RATINGS: tuple[tuple[str, str], ...] = (
    ("again", "not played through, or under 90 % of the notes right"),
    ("hard", "not a good pass"),
    ("good", "a good pass under 95 % of the marked tempo"),
    ("easy", "a good pass at 95 % of the marked tempo or more"),
)
AGAIN_SHARE, FULL_TEMPO = 0.9, 0.95


def rate_cold(one: KeptSection) -> str:
    """The rating of a cold pass by `RATINGS`."""
    if one.right_share < AGAIN_SHARE or one.why_not.startswith("stopped"):
        return "again"
    if not one.good:
        return "hard"
    return "easy" if (one.tempo_share or 0.0) >= FULL_TEMPO else "good"
