"""`python -m scheduling.rules plan|check|explain`: the planning core on the command line, without Django."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from scheduling.rules.facts import facts
from scheduling.rules.plan import engine, wording
from scheduling.rules.plan.messages import NO_REASON
from scheduling.rules.plan.plan import Due, Plan
from scheduling.rules.ruleset import fault_wording, ruleset
from scheduling.rules.sites import SITES

MOST_CHARACTERS = 4_000_000  # of a file; the facts of a patient, or a rule set, take some thousands


class Unreadable(Exception):
    """Raised for input that cannot be read; the text is the one line that the user sees."""


def main(arguments: list[str] | None = None) -> int:
    options = _parser().parse_args(arguments)
    try:
        return options.act(options)  # type: ignore[no-any-return]
    except Unreadable as error:
        # A stray surrogate of the input must not stop the one line that says so.
        line = f"{options.command}: {error}".encode("utf-8", "backslashreplace").decode()
        print(" ".join(line.split())[:500], file=sys.stderr)
        return 2


def plan(options: argparse.Namespace) -> int:
    answer = _plan(options, _ruleset(options.ruleset))
    if options.json:
        _print_json(answer.to_json())
        return 0
    for due in answer.due:
        print(wording.due_sentence(due))
    for problem in answer.problems:
        print(f"To decide ({problem.subject}): {problem.text}")
    if not answer.due and not answer.problems:
        print("Nothing is due and nothing is to decide.")
    print(f"The same facts give the same answer until {answer.valid_until}.")
    return 0


def check(options: argparse.Namespace) -> int:
    faults = ruleset.check(_text(options.ruleset))
    errors = sum(fault.kind == "error" for fault in faults)
    sound = not errors
    if options.json:
        _print_json({"schema": 1, "ok": sound, "faults": [_plain(fault) for fault in faults]})
    else:
        for fault in faults:
            words = fault_wording.say(fault)
            print(f"Warning: {words}" if fault.kind == "warning" else words)
        print(f"{errors} faults" if errors else "No faults.")
    return 0 if sound else 1


def _plain(fault: ruleset.Fault) -> dict[str, Any]:
    return asdict(fault) | {"text": fault_wording.say(fault)}


def explain(options: argparse.Namespace) -> int:
    rules = _ruleset(options.ruleset)
    if options.facts is None:
        print(f"{rules.title}, version {rules.version}")
        for rule in rules.rules:
            print(wording.rule_sentence(rule, SITES))
        return 0
    if options.today is None:
        raise Unreadable("with facts, --today says for which day")
    answer = _plan(options, rules)
    for due in answer.due:
        _explain(due)
    for problem in answer.problems:
        print(f"To decide ({problem.subject}): {problem.text}")
    return 0


def _explain(due: Due) -> None:
    """Print one due row: what asks for it first, then what does not ask just now, and each source once at the end."""
    print(wording.due_sentence(due))
    for reason in due.reasons:
        head = "beside it:" if reason.code in NO_REASON else "because"
        print(f"  {head} {reason.text.rstrip('.')}.")
    sources = dict.fromkeys(reason.source for reason in due.reasons if reason.code not in NO_REASON)
    print(f"  Source: {'; '.join(sources)}.")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m scheduling.rules", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    planning = _command(commands, "plan", "say what is due for the facts of one patient", plan)
    planning.add_argument("facts", metavar="FACTS.json")
    checking = _command(commands, "check", "name every fault of a rule set", check)
    checking.add_argument("ruleset", metavar="RULESET", help="a shipped name or a path")
    explaining = _command(
        commands, "explain", "a rule set, or the plan of one patient, in sentences", explain
    )
    explaining.add_argument("facts", metavar="FACTS.json", nargs="?")
    for command in (planning, explaining):
        command.add_argument("--ruleset", default="default", metavar="NAME_OR_PATH")
    planning.add_argument("--today", required=True, type=_day, metavar="D")
    explaining.add_argument("--today", type=_day, metavar="D")
    for command in (planning, checking):
        command.add_argument("--json", action="store_true", help="one JSON object on stdout")
    return parser


def _command(
    commands: Any, name: str, text: str, act: Callable[[argparse.Namespace], int]
) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(name, help=text, description=text)
    parser.set_defaults(act=act)
    return parser


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text) if len(text) == 10 else _refuse(text)
    except ValueError:
        return _refuse(text)


def _refuse(text: str) -> date:
    raise argparse.ArgumentTypeError(f"“{text}” is not a day written YYYY-MM-DD")


def _read(path: str) -> str:
    try:
        with Path(path).open(encoding="utf-8") as file:
            text = file.read(MOST_CHARACTERS + 1)
    except (OSError, UnicodeDecodeError) as error:
        raise Unreadable(f"{path} cannot be read: {error}") from None
    if len(text) > MOST_CHARACTERS:
        raise Unreadable(f"{path} is longer than {MOST_CHARACTERS} characters")
    return text


def _text(name: str) -> str:
    return ruleset.shipped(name) if name in ruleset.shipped_names() else _read(name)


def _ruleset(name: str) -> ruleset.RuleSet:
    try:
        return ruleset.load(_text(name))
    except ruleset.FaultyRuleSet as error:
        raise Unreadable(f"the rule set {name} has faults: {fault_wording.say_all(error.faults)}") from None


def _plan(options: argparse.Namespace, rules: ruleset.RuleSet) -> Plan:
    path = options.facts
    try:
        raw = json.loads(_read(path), object_pairs_hook=_once)
        return engine.plan(facts.parse(raw), rules, options.today)
    except MemoryError:
        raise Unreadable(f"{path} needs more memory than there is") from None
    except RecursionError:
        raise Unreadable(f"{path} is nested too deeply to be FACTS") from None
    except json.JSONDecodeError as error:
        raise Unreadable(f"{path} is not JSON: {error}") from None
    except facts.UnreadableFacts as error:
        raise Unreadable(f"{path}: {error}") from None
    except ValueError as error:
        raise Unreadable(f"{path} holds a value that cannot be read: {error}") from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Refuse a key that stands twice: its first value would be lost without a word."""
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise facts.UnreadableFacts(key, "key_twice")
        found[key] = value
    return found


def _print_json(shown: dict[str, Any]) -> None:
    print(json.dumps(shown, ensure_ascii=False))


if __name__ == "__main__":
    sys.stdout.reconfigure(encoding="utf-8")  # type: ignore[union-attr]
    sys.exit(main())
