"""All small changes that can be made to a source: operators, constants, conditions, statements left out, early returns.

Left alone is what does nothing while a show plays: annotations, decorators, docstrings, assertions, `__all__`, and
`strict=` of zip, which is an assertion, too.
"""

import ast
import re
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

_OTHER: Final = {
    "<": "<=",
    "<=": "<",
    ">": ">=",
    ">=": ">",
    "==": "!=",
    "!=": "==",
    "is": "is not",
    "is not": "is",
    "in": "not in",
    "not in": "in",
    "+": "-",
    "-": "+",
    "*": "//",
    "//": "*",
    "/": "*",
    "%": "//",
    "&": "|",
    "|": "&",
    "^": "|",
    "<<": ">>",
    ">>": "<<",
    "**": "*",
    "and": "or",
    "or": "and",
}
#: an operator with whatever brackets and blanks there are between its operands
_OPERATOR: Final = re.compile(
    rb"[\s)\\]*(is\s+not|not\s+in|is|in|and|or|<<|>>|<=|>=|==|!=|\*\*|//|[-<>+*/%&|^])=?[\s(\\]*(?:not\s+)?[\s(\\]*"
)
_OWN_CHECKS: Final = "strict"  # the keyword of zip

_Function = ast.FunctionDef | ast.AsyncFunctionDef


class Mutant(NamedTuple):
    """One change of one file. `file`: relative to the tree; `start`, `end`: offsets in its bytes; `new`: the bytes
    that come there; `first`, `last`: the lines of the statement, from 1; `function`: the function or class it is in;
    `at_import`: it is carried out when the module is imported; `line`, `becomes`: the changed lines without their
    indentation, before and after."""

    file: str
    start: int
    end: int
    new: bytes
    first: int
    last: int
    function: str
    at_import: bool
    line: str
    becomes: str

    @property
    def place(self) -> str:
        return f"{self.file}:{self.first}"

    def applied(self, source: bytes) -> bytes:
        """The source with this change."""
        return source[: self.start] + self.new + source[self.end :]


def mutants(file: str, source: bytes) -> list[Mutant]:
    """All changes of one file, in the order of their places."""
    walk = _Walk(file, source)
    walk.block(ast.parse(source).body)
    return sorted(set(walk.found), key=lambda each: (each.start, each.end, each.new))


class _Walk:
    """Goes through one file, statement by statement."""

    def __init__(self, file: str, source: bytes) -> None:
        self._file, self._source = file, source
        self._lines = [0]
        for line in source.splitlines(keepends=True):
            self._lines.append(self._lines[-1] + len(line))
        self._names: list[str] = []  # of the functions and classes around
        self._at_import = True
        self._span = (1, 1)
        self.found: list[Mutant] = []

    # Places

    def _at(self, line: int, column: int) -> int:
        return self._lines[line - 1] + column

    def _start(self, node: ast.expr | ast.stmt) -> int:
        return self._at(node.lineno, node.col_offset)

    def _end(self, node: ast.expr | ast.stmt) -> int:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return self._at(node.end_lineno, node.end_col_offset)

    def _add(self, start: int, end: int, new: str) -> None:
        text = new.encode()
        begin = self._source.rfind(b"\n", 0, start) + 1
        after = self._source.find(b"\n", end)
        after = len(self._source) if after < 0 else after
        line, becomes = self._source[begin:after], self._source[begin:start] + text + self._source[end:after]
        place = (*self._span, ".".join(self._names), self._at_import)
        self.found.append(Mutant(self._file, start, end, text, *place, _flat(line), _flat(becomes)))

    # Statements

    def block(self, statements: Sequence[ast.stmt]) -> None:
        for statement in statements:
            self._statement(statement)

    def _statement(self, node: ast.stmt) -> None:
        blocks = [list(part) for part in _blocks(node)]
        last = min((block[0].lineno - 1 for block in blocks), default=node.end_lineno or node.lineno)
        self._span = (node.lineno, max(last, node.lineno))
        if isinstance(node, ast.Import | ast.ImportFrom | ast.Assert) or _is_docstring(node) or _is_list_of_names(node):
            return
        if isinstance(node, _Function | ast.ClassDef):
            self._definition(node)
            return
        self._left_out(node)
        for child in _expressions(node):
            self._expression(child)
        for block in blocks:
            self.block(block)

    def _definition(self, node: _Function | ast.ClassDef) -> None:
        self._names.append(node.name)
        before = self._at_import
        if isinstance(node, _Function):
            for default in (*node.args.defaults, *node.args.kw_defaults):
                if default is not None:
                    self._expression(default)
            self._at_import = False
            self._early_return(node)
        self.block(node.body)
        self._at_import = before
        self._names.pop()

    def _early_return(self, node: _Function) -> None:
        body = [each for each in node.body if not _is_docstring(each)]
        if not body or isinstance(body[0], ast.Return | ast.Raise) or _is_empty(body[0]):
            return
        self._span = (body[0].lineno, body[0].lineno)
        start = self._start(body[0])
        self._add(start, start, f"return None\n{' ' * body[0].col_offset}")

    def _left_out(self, node: ast.stmt) -> None:
        """A statement that can be missing without a name going missing."""
        targets = node.targets if isinstance(node, ast.Assign) else []
        if isinstance(node, ast.Return):
            if node.value is not None and not _is_none(node.value):
                self._add(self._start(node), self._end(node), "return None")
        elif (
            isinstance(node, ast.AugAssign | ast.Delete | ast.Raise | ast.Break | ast.Continue)
            or (isinstance(node, ast.Expr) and not _is_empty(node))
            or (targets and all(isinstance(target, ast.Attribute | ast.Subscript) for target in targets))
        ):
            self._add(self._start(node), self._end(node), "pass")
        if isinstance(node, ast.If | ast.While):
            self._condition(node.test)
        if isinstance(node, ast.AugAssign):
            self._between(self._end(node.target), self._start(node.value))

    # Expressions

    def _expression(self, node: ast.AST) -> None:
        if isinstance(node, ast.keyword) and node.arg == _OWN_CHECKS:
            return
        if isinstance(node, ast.Compare):
            operands = [node.left, *node.comparators]
            self._operators(operands)
        elif isinstance(node, ast.BoolOp):
            self._operators(node.values)
        elif isinstance(node, ast.BinOp):
            self._operators([node.left, node.right])
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            self._add(self._start(node), self._start(node) + len("not"), "")
        elif isinstance(node, ast.IfExp):
            self._condition(node.test)
        elif isinstance(node, ast.comprehension):
            for test in node.ifs:
                self._condition(test)
        elif isinstance(node, ast.Constant):
            self._constant(node)
        if isinstance(node, ast.JoinedStr):  # before 3.12 what is in it has no places of its own
            return
        for child in ast.iter_child_nodes(node):
            self._expression(child)

    def _operators(self, operands: Sequence[ast.expr]) -> None:
        for left, right in pairwise(operands):
            self._between(self._end(left), self._start(right))

    def _between(self, start: int, end: int) -> None:
        """The operator between two operands, which end and start there."""
        match = _OPERATOR.match(self._source, start)
        if match is None or match.start(1) >= end:
            return
        operator = " ".join(match[1].decode().split())
        self._add(*match.span(1), _OTHER[operator])

    def _condition(self, test: ast.expr) -> None:
        """A condition that is a name or a call; others are changed at their operators."""
        if isinstance(test, ast.Name | ast.Attribute | ast.Call | ast.Subscript):
            self._add(self._start(test), self._start(test), "not ")

    def _constant(self, node: ast.Constant) -> None:
        start, end, value = self._start(node), self._end(node), node.value
        if isinstance(value, bool):
            self._add(start, end, str(not value))
        elif isinstance(value, int):
            hexadecimal = self._source[start : start + 2].lower() == b"0x"
            for other in (value + 1, value - 1):
                self._add(start, end, hex(other) if hexadecimal and other >= 0 else str(other))


def _flat(text: bytes) -> str:
    """The lines in one, without their indentation."""
    return " ".join(line.strip() for line in text.decode().splitlines())


def _blocks(node: ast.stmt) -> Iterator[Sequence[ast.stmt]]:
    """The blocks below a statement's head."""
    for name in ("body", "orelse", "finalbody"):
        if block := getattr(node, name, None):
            yield block
    for inner in (*getattr(node, "handlers", ()), *getattr(node, "cases", ())):
        yield inner.body


def _expressions(node: ast.stmt) -> Iterator[ast.AST]:
    """What a statement's head evaluates, but for annotations."""
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "target", "targets", "body", "orelse", "finalbody", "handlers"):
            continue
        if name == "cases":
            for case in value:
                yield from (part for part in (case.pattern, case.guard) if part is not None)
            continue
        for each in value if isinstance(value, list) else [value]:
            if isinstance(each, ast.AST):
                yield each


def _is_docstring(node: ast.stmt) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)


def _is_empty(node: ast.stmt) -> bool:
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def _is_none(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


def _is_list_of_names(node: ast.stmt) -> bool:
    return isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name) and node.targets[0].id == "__all__"
