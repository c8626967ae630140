"""`bayleaf help`, and that the handbook is true. (Our own rules; Markdown as in CommonMark.)"""

import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import click
import pytest
from typer.main import get_command
from typer.testing import CliRunner

from engine import handbook
from engine.cli.app import app
from engine.cli.commands.help import _for_terminal
from engine.rig.models.rig import Rig
from engine.rig.read.load import read
from engine.rig.read.sound_list import read_list
from filters.registry import registry
from tests.support.paths import BAYLEAF, PRESETS, ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")
TEXTS = {**{topic: page.text for topic, page in handbook.pages().items()}, "README": README}


def said(*words: str) -> str:
    """What the command prints."""
    done = CliRunner().invoke(app, ["help", *words])
    assert done.exit_code == 0, done
    return done.stdout


def fences(text: str, kind: str) -> list[str]:
    """All code blocks of this kind."""
    return re.findall(rf"^ *```{kind}\n(.*?)^ *```$", text, re.MULTILINE | re.DOTALL)


def test_the_topics_are_listed() -> None:
    """Every page is listed with its purpose, in a table and as JSON."""
    listed = json.loads(said("--json"))
    assert [each["topic"] for each in listed] == sorted(handbook.pages())
    assert all(each["purpose"] for each in listed)
    assert all(topic in said() for topic in handbook.pages())


@pytest.mark.parametrize("topic", handbook.pages())
def test_a_page_is_shown_as_it_is(topic: str) -> None:
    """When the output is not a terminal, a page is printed as its source text; its second line states its purpose."""
    page = handbook.pages()[topic]
    assert said(topic) == page.text
    assert json.loads(said(topic, "--json")) == page._asdict()
    assert page.text.splitlines()[:3] == [f"# {page.title}", "", page.purpose]
    assert 20 < len(page.purpose) < 100
    assert page.purpose.endswith(".")


def test_a_topic_of_several_words() -> None:
    """Both "rig file" and "Rig-File" are the topic "rig-file"."""
    assert said("rig", "file") == said("Rig-File") == handbook.pages()["rig-file"].text


def test_a_word_is_found_on_its_pages() -> None:
    """A word that is not a topic lists every page that contains it, with the number of lines."""
    holding = {topic for topic, page in handbook.pages().items() if "panic" in page.text.casefold()}
    hits = json.loads(said("panic", "--json"))["hits"]
    assert {hit["topic"] for hit in hits} == holding
    for hit in hits:
        assert handbook.pages()[hit["topic"]].text.splitlines()[hit["line"] - 1].strip() == hit["text"]
    assert all(topic in said("panic") for topic in holding)


@pytest.mark.parametrize(
    ("word", "meant"),
    [("fliters", "did you mean filters"), ("zzqx", "bayleaf help lists"), ("nosuch", "bayleaf help lists")],
)
def test_an_unknown_topic(word: str, meant: str) -> None:
    """A word that is neither a topic nor on any page is an error that suggests what may have been meant."""
    command = [str(BAYLEAF), "help", word]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stdout) == (1, "")
    assert meant in done.stderr


def test_only_its_own_module_is_loaded() -> None:
    """Help loads neither trio nor the engine, and no formatter when the output is not a terminal."""
    script = (
        "import sys; sys.argv = ['bayleaf', 'help', 'osc']; from engine.cli.app import app\n"
        "try: app()\n"
        "except SystemExit: pass\n"
        "others = {'trio', 'rich.markdown', 'engine.core', 'engine.rig', 'engine.live'}\n"
        "print(others & set(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stderr.strip() == "set()"


@pytest.mark.parametrize("columns", [60, 120])
def test_a_page_on_a_terminal(columns: int, tmp_path: Path) -> None:
    """On a terminal a page is formatted, fits the width, and goes through the pager if it is longer than the screen."""
    pager = tmp_path / "pager"
    pager.write_text(f"#!/bin/sh\nexec tee {tmp_path / 'paged'}\n", encoding="utf-8")
    pager.chmod(0o755)
    shape = {"COLUMNS": str(columns), "LINES": "24", "TERM": "xterm", "PAGER": str(pager), "LESS": "-R"}
    reader, writer = os.openpty()
    done = subprocess.run(
        [str(BAYLEAF), "help", "limits"],
        env={**os.environ, **shape},
        stdin=writer,
        stdout=writer,
        timeout=60,
        check=True,
    )
    os.close(writer)
    os.close(reader)
    assert done.returncode == 0
    paged = (tmp_path / "paged").read_text(encoding="utf-8")
    assert "\x1b[" in paged
    plain = re.sub(r"\x1b\[[0-9;]*m", "", paged)
    assert "##" not in plain
    assert "`" not in plain
    assert "bayleaf help safety" in words(plain)
    assert 50 < max(len(line) for line in plain.splitlines()) <= min(columns, 100)


def test_links_on_a_terminal() -> None:
    """On a terminal, where links cannot be followed, the last line names the linked pages."""
    shown = _for_terminal("See [limits](limits.md) and `[x](osc.md)`.\n```toml\na = [b](ports.md)\n```\n")
    assert shown == (
        "See *limits* and `[x](osc.md)`.\n```toml\na = [b](ports.md)\n```\n\nSee also: `bayleaf help limits`\n"
    )


@pytest.mark.parametrize("name", TEXTS)
def test_links_lead_somewhere(name: str) -> None:
    """Every link leads to a page of the handbook, or from README to an existing file."""
    folder = ROOT if name == "README" else ROOT / "engine" / "handbook"
    for target in re.findall(r"\]\(([^)\s]+)\)", re.sub(r"^```.*?^```$", "", TEXTS[name], flags=re.M | re.S)):
        assert (folder / target).is_file(), target


@pytest.mark.parametrize("name", TEXTS)
def test_rigs_load(name: str) -> None:
    """Every TOML block that is a whole rig loads; every whole sound list is valid."""
    for block in fences(TEXTS[name], "toml"):
        if re.search(r"^ *\[\[scenes\]\]", block, re.MULTILINE) and re.search(r"^ *format", block, re.MULTILINE):
            read(block, f"{name}.md", lists=False)
        elif "programs_from" in block and "format" in block:
            read_list(block, f"{name}.md")


def test_the_page_of_filters_has_every_setting() -> None:
    """The page "filters" has a section for each built-in filter, with each of its settings."""
    sections = dict(re.findall(r"^## (\w+)\n(.*?)(?=^## |\Z)", TEXTS["filters"], re.MULTILINE | re.DOTALL))
    assert set(sections) == set(registry())
    for name, section in sections.items():
        for setting, field in registry()[name].settings.model_fields.items():
            key = field.alias or setting
            assert key == "filter" or f"`{key}`" in section or f"`{key} = " in section, (name, key)


def test_every_key_of_a_rig_is_in_the_handbook() -> None:
    """Each key that a rig file may have appears in code somewhere in the handbook."""
    schema = Rig.model_json_schema(by_alias=True)
    keys = {key for part in [schema, *schema["$defs"].values()] for key in part.get("properties", {})}
    code = "\n".join(
        each for text in TEXTS.values() for each in re.findall(r"```toml\n.*?```|`[^`\n]+`", text, re.DOTALL)
    )
    assert len(keys) > 50
    assert [key for key in sorted(keys) if not re.search(rf"\b{key}\b", code)] == []


def printed(folder: Path) -> list[list[str]]:
    """The lines of each quoted command: a faulty rig checked, and the demo's rig explained, checked and rehearsed."""
    faulty = re.sub("^   ", "", fences(README, "toml")[0], flags=re.MULTILINE)
    faulty = faulty.replace('from = "keys", on = "bass', 'from = "keyz", on = "bass').replace(
        'sound = "Warm pad"', 'sound = "Warm pda"'
    )
    (folder / "pit.toml").write_text(faulty, encoding="utf-8")
    demo = str(PRESETS / "demo.toml")
    runs = [
        ["check", "pit.toml"],
        ["explain", demo, "--scene", "12", "--input", "keys", "90 3C 40"],
        ["explain", demo, "--scene", "12", "--after", "11"],
        ["check", demo],
        ["rehearse", demo, str(PRESETS / "demo.mid"), "--out", "rehearsal"],
    ]
    return [[words(line) for line in printed_by(run, folder)] for run in runs]


def printed_by(command: list[str], folder: Path) -> list[str]:
    """The lines that a command prints on a wide screen."""
    wide = {**os.environ, "COLUMNS": "200"}
    done = subprocess.run(
        [str(BAYLEAF), *command], cwd=folder, env=wide, capture_output=True, text=True, timeout=60, check=False
    )
    return (done.stdout + done.stderr).splitlines()


def words(text: str) -> str:
    """Without spacing and the rules of tables."""
    return " ".join(text.replace("─", " ").split())


def of_the_demo(block: str) -> bool:
    """Whether this is quoted from `bayleaf demo`."""
    return block.startswith("Lantern Street")


def quotes(block: str, output: list[str]) -> bool:
    """Whether these lines are in the output, in this order; a single line may be wrapped in the block."""
    rest = iter(output)
    quoted = [words(line) for line in block.splitlines() if words(line) and not line.startswith("$ ")]
    return words(block) in output or all(line in rest for line in quoted)


@pytest.mark.slow
def test_quoted_outputs_are_real(tmp_path: Path) -> None:
    """Output quoted in README and the handbook is what one command prints, in its order."""
    outputs = printed(tmp_path)
    for name, text in TEXTS.items():
        for block in fences(text, "text"):
            assert of_the_demo(block) or any(quotes(block, output) for output in outputs), (name, block)


@pytest.mark.slow
def test_the_demo_prints_what_readme_quotes(tmp_path: Path) -> None:
    """In its order; except for the seconds, which come from a real clock."""
    (quoted,) = [block for block in fences(README, "text") if of_the_demo(block)]

    def timeless(line: str) -> str:
        return re.sub(r"\d+\.\d+ s", "# s", words(line))

    output = [timeless(line) for line in printed_by(["demo"], tmp_path)]
    assert quotes("\n".join(map(timeless, quoted.splitlines())), output)


def commands() -> dict[tuple[str, ...], click.Command]:
    """All commands and subcommands by their words."""
    root: Any = get_command(app)
    context = click.Context(root)
    found: dict[tuple[str, ...], click.Command] = {}
    for name in root.list_commands(context):
        found[name,] = command = root.get_command(context, name)
        for inner, below in getattr(command, "commands", {}).items():
            found[name, inner] = below
    return found


COMMANDS = commands()
OPTION = re.compile(r"--[a-z][a-z-]+")


def options(command: click.Command) -> set[str]:
    """Its options by their long names, except those that only Bayleaf itself uses."""
    shown = [each for each in command.params if not getattr(each, "hidden", False)]
    return {"--help", *(option for each in shown for option in each.opts if option.startswith("--"))}


def shown_commands(text: str) -> list[list[str]]:
    """Every command shown in code, as its words; a comment sign or a pipe ends it."""
    lines = [line for block in fences(text, "sh") for line in block.splitlines()]
    code = re.findall(r"`(bayleaf [^`]+)`", re.sub(r"^ *```.*?^ *```$", "", text, flags=re.M | re.S).replace("\n", " "))
    found = []
    for line in [*lines, *code]:
        words = shlex.split(line.replace("…", ""), comments=True)
        if words[:1] == ["bayleaf"] and len(words) > 1:
            found.append(words[1:])
    return found


@pytest.mark.parametrize("name", TEXTS)
def test_commands_exist(name: str) -> None:
    """Every command and option shown in the handbook exists."""
    for words in shown_commands(TEXTS[name]):
        if words[0].isupper() or words[0].startswith("--"):
            continue  # `bayleaf COMMAND --help`
        assert (words[0],) in COMMANDS, words
        command = COMMANDS.get((words[0], words[1] if len(words) > 1 else ""), COMMANDS[words[0],])
        for word in words[1:]:
            if OPTION.fullmatch(word):
                assert word in options(command), words


def test_the_page_of_commands_lists_every_option() -> None:
    """The page "commands" names every command and, with each command or subcommand, every option of it."""
    text = TEXTS["commands"]
    for words, command in COMMANDS.items():
        name = f"bayleaf {' '.join(words)}"
        assert re.search(rf"`{name}\b|`{words[-1]}\b", text), name
        missing = options(command) - set(OPTION.findall(text)) - {"--help", "--json", "--name"}
        assert not missing, (name, missing)
