"""The changes that are made to a source: which there are, and that each is another program."""

import ast

import pytest

from tests.mutants.__main__ import all_mutants
from tests.mutants.mutators import mutants
from tests.support.paths import ROOT


def becomes(source: str) -> list[str]:
    """What the changed lines of a source become."""
    return [each.becomes for each in mutants("any.py", source.encode())]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("a < b", ["a <= b"]),
        ("a <= b != c", ["a < b != c", "a <= b == c"]),
        ("(a) is not (b)", ["(a) is (b)"]),
        ("a not in b", ["a in b"]),
        ("a + b * c", ["a - b * c", "a + b // c"]),
        ("a and not b", ["a or not b", "a and  b"]),
        ("a << b | c", ["a >> b | c", "a << b & c"]),
        ("7", ["6", "8"]),
        ("0x7F", ["0x7e", "0x80"]),
        ("6_000", ["12000", "3000"]),
        ("True", ["False"]),
        ("b if a else c", ["b if not a else c"]),
        ("[a for a in b if a]", ["[a for a in b if not a]"]),
        ("f(a, strict=True)", []),
        ('"words"', []),
    ],
)
def test_expressions(line: str, expected: list[str]) -> None:
    """Operators, numbers, truth values and conditions are changed; texts and the checks of zip are not."""
    assert becomes(f"x = {line}") == [f"x = {each}" for each in expected]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("f()", ["pass"]),
        ("del a", ["pass"]),
        ("a.b = c", ["pass"]),
        ("a[b] = c", ["pass"]),
        ("a = c", []),
        ("a += c", ["pass", "a -= c"]),
        ("raise a", ["pass"]),
        ("if a: b = c", ["if not a: b = c"]),
        ("while a < b: c = d", ["while a <= b: c = d"]),
        ("assert a < b", []),
        ("a: 'int | None' = c", []),
        ("a: int | None = c", []),
        ("__all__ = [7]", []),
        ("@d(7)\nclass A: b: X[7]", []),
    ],
)
def test_statements(line: str, expected: list[str]) -> None:
    """Statements that bind no name are left out; assertions, annotations and decorators stay."""
    assert becomes(line) == expected


def test_functions_return_early_and_return_nothing() -> None:
    """Each function once ends before its first statement, and each value that it returns is once None."""
    source = 'def f(a: int = 3) -> int:\n    """Words."""\n    b = a\n    return b\n'
    assert becomes(source) == [
        "def f(a: int = 2) -> int:",
        "def f(a: int = 4) -> int:",
        "return None b = a",
        "return None",
    ]
    assert becomes("def f() -> None:\n    return None\n") == []


def test_a_mutant_knows_its_place() -> None:
    """Its file and the line of its statement, the function around, and whether the import carries it out."""
    source = b"class A:\n    b = 1\n\n    def c(self):\n        return (\n            2 <\n            d\n        )\n"
    found = mutants("any.py", source)
    assert [(each.place, each.function, each.at_import, each.last) for each in found if each.new in (b"2", b"<=")] == [
        ("any.py:2", "A", True, 2),
        ("any.py:5", "A.c", False, 8),
    ]


def test_columns_count_bytes() -> None:
    """Letters beyond ASCII before the place do not move it."""
    assert becomes('x = "äöü", a < b') == ['x = "äöü", a <= b']


@pytest.mark.slow
def test_every_mutant_of_the_source_is_another_program() -> None:
    """Each can be parsed, and none means what the source means; one of 31 is looked at."""
    some = all_mutants()[::31]
    sources = {file: (ROOT / file).read_bytes() for file in {each.file for each in some}}
    meant = {file: ast.dump(ast.parse(source)) for file, source in sources.items()}
    for mutant in some:
        assert ast.dump(ast.parse(mutant.applied(sources[mutant.file]))) != meant[mutant.file]
