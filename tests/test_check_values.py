"""The check values of tests/reference: each names its source, is used by a test, and is compared with what we do."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests.support.check_values import all_check_values, check_values
from tests.support.paths import ROOT

_FUNCTIONS = ("check_value", "check_values")


@cache
def _modules() -> dict[Path, ast.Module]:
    """Every module of the tests that asks for a check value, but this one."""
    found = {}
    for file in sorted((ROOT / "tests").rglob("*.py")):
        text = file.read_text(encoding="utf-8")
        if "tests.support.check_values import" in text and file != Path(__file__):
            found[file] = ast.parse(text)
    return found


def _calls(tree: ast.AST) -> Iterator[ast.Call]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in _FUNCTIONS:
            yield node


def _asked(call: ast.Call) -> set[str]:
    """The ids that a call gets: those that begin as it says, or fit its f-string; none, if it takes a name."""
    asked = call.args[0]
    if isinstance(call.func, ast.Name) and call.func.id == "check_values":
        given = {keyword.arg or "": ast.literal_eval(keyword.value) for keyword in call.keywords}
        return {value.id for value in check_values(ast.literal_eval(asked), **given)}
    if not isinstance(asked, ast.JoinedStr):
        return set()
    parts = (re.escape(ast.literal_eval(part)) if isinstance(part, ast.Constant) else ".+" for part in asked.values)
    pattern = re.compile("".join(parts))
    return {name for name in all_check_values() if pattern.fullmatch(name)}


def _used() -> set[str]:
    """Ids that a test names: in the call itself, or in a list from which the call takes them."""
    used: set[str] = set()
    for tree in _modules().values():
        used |= {
            node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)
        }
        used.update(*map(_asked, _calls(tree)))
    return used


def test_every_check_value_is_used() -> None:
    """A value that no test compares anything with proves nothing: use it, or take it out."""
    assert sorted(set(all_check_values()) - _used()) == []


def test_check_values_say_where_they_are_from() -> None:
    """Each names its source, and who read or computed it, or that it is from memory."""
    known = re.compile("read|computed|arithmetic|derived|memory|printed|enumerated|grammar")
    values = all_check_values().values()
    assert [value.id for value in values if not value.source or not known.search(value.verified_by)] == []


def _is_given(node: ast.expr) -> bool:
    """Whether an expression is made of constants and check values alone, so that nothing of ours is in it."""
    if isinstance(node, ast.Name):
        return node.id in _FUNCTIONS
    inside = [child for child in ast.iter_child_nodes(node) if isinstance(child, ast.expr)]
    return all(map(_is_given, inside))


@pytest.mark.parametrize("file", _modules(), ids=lambda file: file.stem)
def test_no_check_value_is_compared_with_a_literal(file: Path) -> None:
    """An assertion about a check value alone cannot fail, whatever our code does."""
    idle = [
        f"line {node.lineno}"
        for node in ast.walk(_modules()[file])
        if isinstance(node, ast.Assert) and any(_calls(node.test)) and _is_given(node.test)
    ]
    assert idle == []
