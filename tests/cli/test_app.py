"""The command as a whole: which commands exist, and what happens when the reader of its output goes away."""

import json
import os
import shlex
import subprocess
import sys
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pytest

from engine.cli import commands
from engine.cli.app import GROUPS, command, command_names
from engine.which_build import build_in_words
from tests.support.bayleaf_command import Bayleaf
from tests.support.paths import BAYLEAF


def test_every_module_is_a_command() -> None:
    """Each module of `engine/cli/commands` is the command of that name, with a line of help. (No outside source.)"""
    for name in command_names():
        found = command(name)
        assert found.name == name
        assert found.help


def test_the_version(bayleaf: Bayleaf) -> None:
    """A report of a fault can name the version, and the build: the one that is installed."""
    assert bayleaf("--version").out == f"bayleaf {version('bayleaf')} ({build_in_words()})\n"


def test_every_command_is_in_one_group_of_the_help() -> None:
    """The help has each command once, in a group of its purpose."""
    (folder,) = commands.__path__
    assert sorted(command_names()) == sorted(file.stem for file in Path(folder).glob("[a-z]*.py"))


def test_the_help_begins_with_the_first_step(bayleaf: Bayleaf) -> None:
    """The first step is above everything; each group has its commands, each with one whole sentence."""
    shown = bayleaf("--help").out
    assert shown.index("The first step: `bayleaf` alone") < shown.index("Set up:")
    for title, names in GROUPS.items():
        assert f"{title}:\n" in shown
        for name in names:
            sentence = str(command(name).help).split("\n\n")[0]
            assert " ".join(sentence.split()) in " ".join(shown.split())
            assert sentence.endswith(".")
    assert max(map(len, shown.splitlines())) <= 80


def _leaves(found: Any, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Each command with its words: a group's commands one by one."""
    yield path, found
    for name, part in getattr(found, "commands", {}).items():
        yield from _leaves(part, (*path, name))


@pytest.mark.parametrize(
    ("words", "found"),
    [
        pytest.param(*leaf, id=" ".join(leaf[0]))
        for name in command_names()
        for leaf in _leaves(command(name), (name,))
        if any(param.required for param in leaf[1].params)
    ],
)
def test_a_command_without_its_argument_explains_itself(words: tuple[str, ...], found: Any, bayleaf: Bayleaf) -> None:
    """It says what it needs, and shows an example that is itself in order; the exit status is 2."""
    said = bayleaf(*words)
    assert (said.status, said.out) == (2, "")
    path = " ".join(("bayleaf", *words))
    needed, example, options = said.err.splitlines()
    assert needed.startswith(f"{path} needs ")
    assert options == f"All options:  {path} --help"
    typed = shlex.split(example.removeprefix("For example:  "))
    assert typed[: len(words) + 1] == path.split()
    found.make_context(words[-1], typed[len(words) + 1 :])  # it raises if a word is missing or wrong


def test_a_misspelt_command(bayleaf: Bayleaf) -> None:
    """An unknown command is answered with the nearest one; the exit status is 2."""
    said = bayleaf("chekc", "pit.toml")
    assert said.status == 2
    assert 'there is no command "chekc"; did you mean "check"? bayleaf --help lists all of them' in said.err


def test_one_module_a_command() -> None:
    """A command loads only its own module, so that recalling a scene by command does not wait for the others."""
    code = "import sys; from engine.cli.app import command; command('next'); print(*sorted(sys.modules), sep='\\n')"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert [name for name in loaded if name.startswith("engine.cli.commands.")] == ["engine.cli.commands.next"]
    assert not {"pydantic", "trio", "mido", "rich.console"} & set(loaded)


@pytest.mark.parametrize("command", [("demo",), ("--help",), ("ports", "--backend", "memory", "--json")], ids=" ".join)
def test_a_reader_that_goes_away(command: tuple[str, ...]) -> None:
    """When the reader of a pipe closes it early, as `head` does, a command ends with status 1 and prints no error."""
    reader, writer = os.pipe()
    os.close(reader)
    environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
    process = subprocess.run(
        [BAYLEAF, *command], env=environment, stdout=writer, stderr=subprocess.PIPE, text=True, timeout=60, check=False
    )
    os.close(writer)
    assert (process.returncode, process.stderr) == (1, "")


def test_a_terminal_without_the_letters(tmp_path: Path) -> None:
    """Where standard output cannot encode every letter, as in a pipe on some systems, JSON carries the same text and
    plain output shows escapes instead of a traceback."""
    rig = tmp_path / "rig.toml"
    rig.write_text('format = 1\n[rig]\nname = "Grüße 🎹"\n[[scenes]]\nnumber = 1\nname = "Süß 🎻"\n', encoding="utf-8")
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}

    def said(*more: str | Path) -> str:
        command = [BAYLEAF, *more]
        return subprocess.run(command, env=environment, capture_output=True, timeout=60, check=True).stdout.decode(
            "ascii"
        )

    assert json.loads(said("check", rig, "--json"))["rig"] == "Grüße 🎹"
    assert "S\\xfc\\xdf \\U0001f3bb" in said("diff", rig, "1", "1") + said(
        "explain", rig, "--picture", tmp_path / "a.svg"
    )


def test_the_head_of_the_demo() -> None:
    """The demo's output can be cut off after its first line: the pipe breaks inside its tasks, and that is no fault."""
    process = subprocess.Popen([BAYLEAF, "demo"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stderr is not None
    first = process.stdout.readline()
    process.stdout.close()
    said = process.stderr.read()
    process.stderr.close()
    assert (first[:14], process.wait(60), said) == ("Lantern Street", 1, "")


def test_no_engine_is_reported(bayleaf: Bayleaf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A command to an engine that is not running says so, and how to start one."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", os.fspath(tmp_path))
    said = bayleaf("scene", "1")
    assert said.status == 1
    assert "bayleaf run" in said.err


@pytest.mark.parametrize(
    ("command", "words"),
    [
        (("scenes", "delete", "abc"), "'NUMBER': must be a whole number"),
        (("check", "rig.toml", "--density", "1.5"), "'--density': must be a whole number"),
        (("check", "rig.toml", "--density", "-1"), "'--density': must be at least 0"),
    ],
)
def test_a_wrong_number_is_reported_in_plain_words(bayleaf: Bayleaf, command: tuple[str, ...], words: str) -> None:
    """A usage error names the option or argument and what it must be; the exit status is 2."""
    said = bayleaf(*command)
    assert said.status == 2
    assert said.err.endswith(f"Invalid value for {words}\n")
