"""`undersong plan`: what to practise today, in order, each item with its reason."""

from __future__ import annotations

import argparse
from datetime import date
from typing import TYPE_CHECKING

from engine.errors import UndersongError
from practice.commands.options import any_number
from practice.environment import Environment, ExitStatus, find_places

if TYPE_CHECKING:
    from engine.arrangement import Arrangement
    from practice.environment import Places
    from practice.plan.plan_facts import PlanFacts
    from practice.plan.plan_items import Begin, PlanItem, PlanOptions

NAME = "plan"
HELP = "Say what to practise today, in order, each item with its reason."
EXAMPLE = "undersong plan song.musicxml --minutes 40 --performance 2026-12-12"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    parser.add_argument(
        "arrangement", metavar="ARRANGEMENT", nargs="?", help="the score; left out: the last one"
    )
    parser.add_argument("--minutes", type=any_number, default=40.0, help="time to practise (40)")
    parser.add_argument("--performance", metavar="DATE", help="the day of one: 2026-12-12")
    parser.add_argument(
        "--blocked", action="store_true", help="one section after the other, not by short turns"
    )
    hands = parser.add_mutually_exclusive_group()
    hands.add_argument(
        "--separately", action="store_true", help="begin new sections with each hand alone"
    )
    hands.add_argument(
        "--together", action="store_true",
        help="never each hand alone (left out: only where both together fall apart)",
    )  # fmt: skip
    parser.add_argument("--new", type=int, metavar="N", help="new sections a day at most")
    parser.add_argument("--turn", type=any_number, default=3.0, help="minutes of a turn (3)")
    parser.add_argument(
        "--enough", type=int, default=3, help="good passes in a row that end an item (3)"
    )
    parser.add_argument("--why", action="store_true", help="say what each rule rests on")
    parser.add_argument("--json", metavar="FILE", help="write it as JSON; - for standard output")


def run(options: argparse.Namespace, env: Environment) -> ExitStatus:
    """Make today's plan."""
    from practice.commands.output import write_json
    from practice.commands.settings_told import read_definitions
    from practice.drills.kept_sheets import FOLDER
    from practice.library import open_arrangement
    from practice.listen.kept_before import find_last_path
    from practice.plan.plan import make_plan
    from practice.plan.plan_facts import gather_facts
    from practice.plan.plan_sheets import keep_sheets
    from practice.store.store import Store

    told = _read_options(options, env.now().date())
    places = find_places(options.data, env.variables)
    path = options.arrangement or find_last_path(places.store)
    arrangement = open_arrangement(path, places.cache)
    now = env.now()
    with Store(places.store) as store:
        facts = gather_facts(store, arrangement, path, now, read_definitions(places, env))
    items = make_plan(facts, now, told)
    names = keep_sheets(places.data / FOLDER, items, arrangement, told)
    commands = [say_start(item, facts, name) for item, name in zip(items, names, strict=True)]
    own = list_own(places, arrangement, path)
    if options.json:
        write_json(env, options.json, plan_json(items, facts, commands) | {"own_drills": own})
    if options.json != "-":
        _say(env, items, facts, commands, told, options.why)
        for row in own:
            env.say(f"Your own drill “{row['name']}”: {row['what']}\n  $ {row['command']}")
    return ExitStatus.DONE


def list_own(places: Places, arrangement: Arrangement, path: str) -> list[dict[str, str]]:
    """The drills the player has kept that can be played here, each with its command."""
    import shlex

    from practice.drills.drill_shelf import DrillShelf
    from practice.drills.offers import list_own_offers
    from practice.drills.sheet_words import say_sheet

    shelf = DrillShelf(places).read(arrangement)
    start = f"undersong play {shlex.quote(path)} --drill"
    return [
        {"name": one.name, "what": say_sheet(one.sheet),
         "command": f"{start} {shlex.quote(one.name)}"}
        for one in list_own_offers(arrangement, shelf)
    ]  # fmt: skip


def _read_options(options: argparse.Namespace, today: date) -> PlanOptions:
    from practice.plan.plan_items import PlanOptions

    if not 5 <= options.minutes <= 600:
        raise UndersongError("not a time to practise", f"{options.minutes:g} minutes", "5 to 600")
    if not 1 <= options.turn <= 60:
        raise UndersongError("not the length of a turn", f"{options.turn:g} minutes", "1 to 60")
    if options.enough < 1:
        raise UndersongError("not a number of passes", str(options.enough), "1 or more")
    if options.new is not None and options.new < 1:
        raise UndersongError("not a number of sections", str(options.new), "1 or more")
    try:
        day = date.fromisoformat(options.performance) if options.performance else None
    except ValueError as error:
        raise UndersongError("not a date", options.performance, "write 2026-12-12") from error
    if day is not None and day < today:
        raise UndersongError("that day is over", f"performance {day}", "name one that is to come")
    return PlanOptions(
        options.minutes,
        not options.blocked,
        options.turn,
        performance=day,
        enough=options.enough,
        new_a_day=options.new,
        begin=_begin(options),
    )


def _begin(options: argparse.Namespace) -> Begin:
    if options.separately:
        return "separately"
    return "together" if options.together else "as it goes"


def say_start(item: PlanItem, facts: PlanFacts, name: str) -> str:
    """The command that starts an item: its kept drill, or in full where it could not be kept."""
    import shlex

    from practice.plan.plan_words import say_command

    return (
        f"undersong play {shlex.quote(facts.path)} --drill {name}"
        if name
        else say_command(item, facts)
    )


def plan_json(items: list[PlanItem], facts: PlanFacts, commands: list[str]) -> dict[str, object]:
    """The plan for other programs."""
    from dataclasses import asdict

    from practice.plan.plan_rules import RULES
    from practice.plan.plan_words import say_what

    rows = [
        {
            "kind": i.kind, "what": say_what(i, facts), "minutes": i.minutes, "reason": i.reason,
            "rule": i.rule, "hands": i.hands, "rate": i.rate, "passes": i.passes,
            "command": command,
        }
        for i, command in zip(items, commands, strict=True)
    ]  # fmt: skip
    used = {i.rule for i in items}
    rules = [asdict(rule) for name, rule in RULES.items() if name in used]
    return {"version": 1, "title": facts.arrangement.title, "items": rows, "rules": rules}


def _say_why(env: Environment, used: list[str], told: PlanOptions) -> None:
    """The rules behind the items, those that hold for the whole plan, and how recall is rated."""
    from practice.plan.plan_rules import RATINGS, RULES

    always = [*(["turns"] if told.turns else []), "look-alikes", "enough"]
    for rule in (RULES[name] for name in dict.fromkeys([*used, *always])):
        env.say(f"  {rule.name}: {rule.what}. {rule.source}. Evidence: {rule.strength}.")
        if rule.found:
            env.say(f"    {rule.found}.")
    env.say("  For recall a cold pass is rated by the first line that fits:")
    for rating, what in RATINGS:
        env.say(f"    {rating}: {what}")


def _say_rest(items: list[PlanItem]) -> str:
    if any(i.kind not in ("warm-up", "break", "cold", "run-through") for i in items):
        return "Ask again when this is done: what comes then depends on how it went."
    return "Nothing more is due today; the rest of the time is for playing what you like."


def _say(
    env: Environment,
    items: list[PlanItem],
    facts: PlanFacts,
    commands: list[str],
    told: PlanOptions,
    why: bool,
) -> None:
    from practice.plan.plan_words import say_what

    total = sum(i.minutes for i in items)
    env.say(f"{facts.arrangement.title}: {total:.0f} minutes")
    for number, item in enumerate(items, 1):
        env.say(f"{number:>3}. {item.minutes:>4.1f} min  {say_what(item, facts)}")
        env.say(f"              {item.reason}")
        if commands[number - 1]:
            env.say(f"              $ {commands[number - 1]}")
    if total < told.minutes - told.turn_min:
        env.say(_say_rest(items))
    env.say(
        f"An item is done after {told.enough} good passes in a row (a setting: no number is known "
        "to be right), or when its time is up. If it hurts, stop."
    )
    if why:
        _say_why(env, list(dict.fromkeys(i.rule for i in items)), told)
