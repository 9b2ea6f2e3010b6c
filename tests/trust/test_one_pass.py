"""Every rule that reads outside text takes one pass over it: shown from the rule itself, not by a clock.

A backtracking rule takes quadratic or cubic time where a repeat can give characters back to another one
(Cox, "Regular expression matching can be simple and fast", 2007; Weideman et al., "Analyzing matching time
behavior of backtracking regular expression matchers by using ambiguity of NFA", 2016).
"""

from __future__ import annotations

import ast
import importlib
import re
from collections.abc import Iterator
from pathlib import Path
from re import _constants as ops  # type: ignore[attr-defined]
from re import _parser  # type: ignore[attr-defined]
from typing import Any

import pytest

import axlewright

ROOM = Path(axlewright.__file__).parent
LETTERS = frozenset([*map(chr, range(32, 127)), *"\t\n\r\u00a0\u2009µ°×−–½٣é"])
MANY = 16
"""A repeat of up to so many is a constant; one of more counts as endless."""
SEARCHING = {"search", "sub", "subn", "split", "findall", "finditer"}
CONDITIONS = (ops.AT, ops.ASSERT, ops.ASSERT_NOT)
REPEATS = (ops.MAX_REPEAT, ops.MIN_REPEAT, ops.POSSESSIVE_REPEAT)
OWN_TEXT = {
    ("language/collecting.py", ""): "only the project's own catalogues",
}

Items = list[tuple[Any, Any]]


def in_category(kind: Any) -> frozenset[str]:
    letter = {"DIGIT": "d", "SPACE": "s", "WORD": "w"}[str(kind).rsplit("_", 1)[1]]
    return frozenset(
        c for c in LETTERS if re.match("\\" + (letter.upper() if "NOT" in str(kind) else letter), c)
    )


def letters(items: Items) -> frozenset[str]:
    """Every letter that may stand anywhere in it."""
    out: frozenset[str] = frozenset()
    for op, av in items:
        if op is ops.LITERAL:
            out |= {chr(av).lower(), chr(av).upper()}
        elif op is ops.NOT_LITERAL:
            out |= LETTERS - {chr(av)}
        elif op is ops.ANY:
            out |= LETTERS
        elif op is ops.IN:
            inside: frozenset[str] = frozenset()
            for kind, what in av:
                if kind is ops.LITERAL:
                    inside |= {chr(what).lower(), chr(what).upper()}
                elif kind is ops.RANGE:
                    inside |= {c for c in LETTERS if what[0] <= ord(c) <= what[1]}
                elif kind is ops.CATEGORY:
                    inside |= in_category(what)
            out |= LETTERS - inside if av[0][0] is ops.NEGATE else inside
        else:
            for part in parts(op, av):
                out |= letters(part)
    return out


def parts(op: Any, av: Any) -> list[Items]:
    """The alternatives inside of a group, branch or repeat."""
    if op in REPEATS:
        return [list(av[2])]
    if op is ops.BRANCH:
        return [list(one) for one in av[1]]
    if op is ops.SUBPATTERN:
        return [list(av[-1])]
    if op is ops.ATOMIC_GROUP:
        return [list(av)]
    return []


def may_be_empty(op: Any, av: Any) -> bool:
    if op in REPEATS:
        return bool(av[0] == 0)
    if op in CONDITIONS:
        return True
    inside = parts(op, av)
    return bool(inside) and any(all(may_be_empty(*one) for one in part) for part in inside)


def meets_itself(rest: Items, chars: frozenset[str]) -> bool:
    """Whether an endless repeat of the same letters follows with nothing else sure to stand between."""
    for k, (op, av) in enumerate(rest):
        after = rest[k + 1 :]
        if op in REPEATS:
            body = list(av[2])
            if av[1] > MANY and letters(body) & chars:
                return True
            if meets_itself([*body, *after], chars):
                return True
            if av[0] > 0:
                return False
        elif inside := parts(op, av):
            return any(meets_itself([*part, *after], chars) for part in inside)
        elif op not in CONDITIONS and not letters([(op, av)]) & chars:
            return False
    return False


def endless_inside(items: Items) -> bool:
    return any(
        (op in REPEATS and av[1] > MANY) or any(endless_inside(part) for part in parts(op, av))
        for op, av in items
    )


def faults(items: Items, before: Items, after: Items, searching: bool) -> Iterator[str]:
    for k, (op, av) in enumerate(items):
        prefix, rest = [*before, *items[:k]], [*items[k + 1 :], *after]
        if op in REPEATS and av[1] > MANY:
            chars = letters(list(av[2]))
            if op is not ops.POSSESSIVE_REPEAT:
                if endless_inside(list(av[2])):
                    yield "a repeat in a repeat"
                if meets_itself(rest, chars):
                    yield "two repeats of the same letters side by side"
            can_fail = any(not may_be_empty(*one) or one[0] in CONDITIONS for one in rest)
            if searching and can_fail and all(may_be_empty(*one) or letters([one]) & chars for one in prefix):
                yield "begun anew at each letter of a run"
        if op in (ops.ASSERT, ops.ASSERT_NOT):
            yield from faults(list(av[1]), prefix, [], searching)
        for part in parts(op, av):
            yield from faults(part, prefix, [] if op is ops.ATOMIC_GROUP else rest, searching)


def faults_of(pattern: str, *, searching: bool) -> list[str]:
    return list(faults(list(_parser.parse(pattern)), [], [], searching))


def rules() -> Iterator[tuple[str, str, bool]]:
    """Every regular expression in the program: file, rule, whether it is searched for within a text."""
    for path in sorted(ROOM.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if "re." not in text:
            continue
        tree = ast.parse(text)
        name = path.relative_to(ROOM).as_posix()
        calls = [n for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Attribute)]
        searched = {
            n.func.value.id  # type: ignore[attr-defined]
            for n in calls
            if isinstance(n.func.value, ast.Name) and n.func.attr in SEARCHING  # type: ignore[attr-defined]
        }
        named = {
            id(n.value): target.id
            for n in ast.walk(tree)
            if isinstance(n, (ast.Assign, ast.AnnAssign)) and n.value is not None
            for target in (n.targets if isinstance(n, ast.Assign) else [n.target])
            if isinstance(target, ast.Name)
        }
        for call in calls:
            func = call.func
            assert isinstance(func, ast.Attribute)
            if not (isinstance(func.value, ast.Name) and func.value.id == "re" and call.args):
                continue
            module = importlib.import_module(
                "axlewright." + name[:-3].replace("/", ".").removesuffix(".__init__")
            )
            rule = eval(compile(ast.Expression(call.args[0]), name, "eval"), vars(module))
            yield name, rule, func.attr in SEARCHING or named.get(id(call)) in searched


EVERY = list(rules())


def test_the_rules_are_found() -> None:
    found = {name for name, _rule, _searching in EVERY}
    assert {
        "units.py",
        "steps/answers.py",
        "plant/reading_log.py",
        "setup/marks.py",
        "pattern/words.py",
    } <= found
    assert len(EVERY) > 20


@pytest.mark.parametrize(("name", "rule", "searching"), EVERY)
def test_each_rule_takes_one_pass(name: str, rule: str, searching: bool) -> None:
    if (name, rule) in OWN_TEXT or (name, "") in OWN_TEXT:
        return
    assert faults_of(rule, searching=searching) == []


@pytest.mark.parametrize(
    ("rule", "searching"),
    [
        (r"^\s*(.+?)\s*(?:\(\s*(.+?)\s*\)|=\s*(.+?))\s*$", False),  # held a server with 6,000 spaces
        (r"^\s*([+-]?)\s*(\d+[.,]?\d*)\s*(.*?)\s*$", False),
        (r"^(?P<name>.*?)[\s_]*[\[(]\s*(?P<unit>[^\])]+?)\s*[\])]\s*$", False),
        (r"(\w+\s?)*x", False),
        (r"\d+x", True),
        (r"\s++$", True),
        (r"a.*b", True),
    ],
)
def test_slow_rules_are_noticed(rule: str, searching: bool) -> None:
    assert faults_of(rule, searching=searching)


@pytest.mark.parametrize(
    ("rule", "searching"),
    [(r"\d+x", False), (r"(\d)\s*[.,]", True), (r"\S+", True), (r"(\d++) ?(.*+)", False)],
)
def test_quick_rules_pass(rule: str, searching: bool) -> None:
    assert faults_of(rule, searching=searching) == []
