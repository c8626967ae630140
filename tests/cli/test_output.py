"""How tables are printed."""

import ast
import json
import sys
from pathlib import Path

import pytest

from engine.cli import commands
from engine.cli.output import as_json, print_line, print_words, say, table, table_lines

COLUMNS = ("when", "scene", "recalled by", "ready after")
ROWS = [("0:03.000, bar 2:3", "12 Street at night", "pedals, channel 1 program 12", None)]


def test_a_wide_screen_has_a_table(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """On a wide screen columns are side by side, and a title longer than the table is not broken."""
    monkeypatch.setenv("COLUMNS", "80")
    title = "What each scene sends at most, and when its instruments are ready"
    table(("no.", "scene"), [(11, "Overture")], title=title)
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].rstrip() == title
    assert any("11" in line and "Overture" in line for line in lines)


def test_a_narrow_screen_has_no_broken_words(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where a table would break its words, each row becomes a list; cells that are empty are left out."""
    monkeypatch.setenv("COLUMNS", "32")
    table(COLUMNS, ROWS)
    assert capsys.readouterr().out == (
        "when: 0:03.000, bar 2:3\nscene: 12 Street at night\nrecalled by: pedals, channel 1 \nprogram 12\n\n"
    )


def test_a_table_that_fits_breaks_between_words(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where columns must be narrower than their longest cell, the widest ones give way, and no word is broken."""
    monkeypatch.setenv("COLUMNS", "80")
    columns = ("no.", "scene", "output", "sounds", "bytes", "on the cable", "ready after")
    table(columns, [(2, "Strings and horns", "string-machine", 1, 8, "2.56 ms", "22.56 ms")])
    printed = capsys.readouterr().out
    assert max(map(len, printed.splitlines())) <= 80
    for word in ("Strings", "horns", "string-machine", "sounds", "22.56 ms", "cable"):
        assert word in printed


def test_sentences_break_between_words_on_a_terminal(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a terminal a long sentence ends its lines between words, on stdout and stderr; in a pipe it is one line."""
    monkeypatch.setenv("COLUMNS", "20")
    for screen in (False, True):
        monkeypatch.setattr(sys.stdout, "isatty", lambda screen=screen: screen)
        monkeypatch.setattr(sys.stderr, "isatty", lambda screen=screen: screen)
        for tell in (print_words, say):
            tell("a short one\n  there is no foot-controller-2 here")
            printed = "".join(capsys.readouterr())
            end = "\n" if screen else " "
            assert printed == f"a short one\n  there is no{end}foot-controller-2{end}here\n"


#: ECMA-48: clear the screen, set the title, go to the line's start, CSI as one code of C1; Unicode: read from the right
HOSTILE = "a\x1b[2J\x1b]0;b\x07\rc\x9b31m\x7f\u202ed"
SHOWN = r"a\x1b[2J\x1b]0;b\x07\rc\x9b31m\x7f\u202ed"


def test_what_a_terminal_would_obey_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """Control codes in a text are printed as escapes, on stdout, on stderr, and in cells and titles of tables."""
    print_line(HOSTILE)
    say(HOSTILE)
    table(("port",), [(HOSTILE,)], title=HOSTILE)
    printed = capsys.readouterr()
    first, title, *rest = printed.out.splitlines()
    assert (first, title.rstrip(), printed.err) == (SHOWN, SHOWN, f"{SHOWN}\n")
    assert SHOWN in "".join(line.strip() for line in rest)
    assert not set("\x1b\x9b\x07\r\x7f\u202e") & set(printed.out)


def test_lines_and_columns_stay(capsys: pytest.CaptureFixture[str]) -> None:
    """Line feeds, tabs and letters of every script are printed as they are."""
    print_line("Flöte\t笛\nمزمار")
    assert capsys.readouterr().out == "Flöte\t笛\nمزمار\n"


def test_json_is_as_clean_and_says_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    """JSON with such texts holds no control code but line feeds, and a program reads the very same texts."""
    as_json({HOSTILE: [HOSTILE]})
    printed = capsys.readouterr().out
    assert json.loads(printed) == {HOSTILE: [HOSTILE]}
    assert all(letter == "\n" or letter.isprintable() for letter in printed)


def test_every_command_that_prints_a_table_prints_json() -> None:
    """Each function of a command that calls `table`, by itself or by another of its module, has the option `--json`."""
    printing = []
    for file in sorted(Path(commands.__path__[0]).glob("*.py")):
        functions = {each.name: each for each in ast.parse(file.read_text()).body if isinstance(each, ast.FunctionDef)}
        for name, function in functions.items():
            if not name.startswith("_") and "table" in _called(function, functions):
                printing.append(f"{file.stem} {name}")
                assert "json" in [parameter.arg for parameter in function.args.args], printing[-1]
    assert len(printing) > 10


def _called(function: ast.FunctionDef, functions: dict[str, ast.FunctionDef]) -> set[str]:
    """The names of all functions that this one calls, also those called by others of its module."""
    called: set[str] = set()
    waiting = [function]
    while waiting:
        for node in ast.walk(waiting.pop()):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id not in called:
                called.add(node.func.id)
                waiting += [functions[node.func.id]] if node.func.id in functions else []
    return called


def test_lines_of_a_table_are_plain_on_a_terminal_with_colours(monkeypatch: pytest.MonkeyPatch) -> None:
    """They go through what takes out escapes; `status` is made of them."""
    for name, value in (("FORCE_COLOR", "1"), ("TERM", "xterm-256color")):
        monkeypatch.setenv(name, value)
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert table_lines(("output", "bytes"), [("brass", 12)])[0].split() == ["output", "bytes"]
