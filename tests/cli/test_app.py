"""The command as a whole: which commands there are, and what happens when whoever reads its output goes away."""

import json
import os
import subprocess
from pathlib import Path

import pytest

import engine.cli
from engine.cli.app import COMMANDS, commands_of
from tests.support.paths import BAYLEAF


@pytest.mark.parametrize("module", COMMANDS)
def test_every_command_is_in_the_table(module):
    """The table by which one module alone is loaded names just what that module adds. (No outside source.)"""
    assert set(COMMANDS[module]) == set(commands_of(module))


def test_every_module_is_in_the_table():
    """Every module that adds commands is in the table."""
    (folder,) = engine.cli.__path__
    adding = {file.stem for file in Path(folder).glob("*.py") if "\ndef add_to(" in file.read_text(encoding="utf-8")}
    assert adding == set(COMMANDS)


@pytest.mark.parametrize("command", [("demo",), ("--help",), ("ports", "--backend", "memory", "--json")], ids=" ".join)
def test_a_reader_that_goes_away(command):
    """Where the reader of a pipe has enough, as `head` has, a command ends with status 1 and says nothing."""
    reader, writer = os.pipe()
    os.close(reader)
    environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
    process = subprocess.run(
        [BAYLEAF, *command], env=environment, stdout=writer, stderr=subprocess.PIPE, text=True, timeout=60, check=False
    )
    os.close(writer)
    assert (process.returncode, process.stderr) == (1, "")


def test_a_terminal_without_the_letters(tmp_path):
    """Where standard output has not all letters, as a pipe on some systems, JSON still says the same, and words come
    with escapes instead of a traceback."""
    rig = tmp_path / "rig.toml"
    rig.write_text('format = 1\n[rig]\nname = "Grüße 🎹"\n[[scenes]]\nnumber = 1\nname = "Süß 🎻"\n', encoding="utf-8")
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}

    def said(*more):
        command = [BAYLEAF, *more]
        return subprocess.run(command, env=environment, capture_output=True, timeout=60, check=True).stdout.decode(
            "ascii"
        )

    assert json.loads(said("check", rig, "--json"))["rig"] == "Grüße 🎹"
    assert "S\\xfc\\xdf \\U0001f3bb" in said("diff", rig, "1", "1") + said(
        "explain", rig, "--picture", tmp_path / "a.svg"
    )


def test_the_head_of_the_demo():
    """The demo's first line can be read and the rest left: the pipe breaks inside its tasks, and that is no fault."""
    process = subprocess.Popen([BAYLEAF, "demo"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stderr is not None
    first = process.stdout.readline()
    process.stdout.close()
    said = process.stderr.read()
    process.stderr.close()
    assert (first[:14], process.wait(60), said) == ("Lantern Street", 1, "")
