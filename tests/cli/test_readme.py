"""README as a newcomer follows it: its first rig is written, checked, played and edited with the commands it shows."""

import os
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.answering_engine import until_it_answers
from tests.support.paths import BAYLEAF, ROOT
from tests.support.waiting import until

pytestmark = pytest.mark.slow

README = (ROOT / "README.md").read_text(encoding="utf-8")
_WITHIN = 60  # seconds that any command may take on a busy machine


def fenced(kind: str) -> str:
    """The first code block of this kind, without the indent of its list."""
    block = re.search(rf"^( *)```{kind}\n(.*?)^ *```$", README, re.MULTILINE | re.DOTALL)
    assert block
    return re.sub(f"^{block[1]}", "", block[2], flags=re.MULTILINE)


class Newcomer:
    """Somebody in an empty folder with README, and an engine that plays on ports in memory."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), "XDG_STATE_HOME": str(folder / "state")}
        self.rig = folder / "pit.toml"
        self.rig.write_text(fenced("toml"), encoding="utf-8")
        self.engine: subprocess.Popen[str] | None = None

    def types(self, *words: str) -> subprocess.CompletedProcess[str]:
        """A command and what comes of it."""
        return subprocess.run(
            [str(BAYLEAF), *words],
            cwd=self.folder,
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=_WITHIN,
            check=False,
        )

    def begins(self, *words: str) -> subprocess.Popen[str]:
        """A command that goes on."""
        return subprocess.Popen(
            [str(BAYLEAF), *words],
            cwd=self.folder,
            env=self.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def plays(self) -> None:
        """`bayleaf run pit.toml` as README has it, on ports in memory: a test has no gear."""
        self.engine = self.begins("run", "pit.toml", "--backend", "memory")
        until_it_answers(self.engine, self.folder)

    def close(self) -> None:
        if self.engine is not None and self.engine.returncode is None:
            self.engine.kill()
            self.engine.communicate()


@pytest.fixture
def newcomer(tmp_path: Path) -> Iterator[Newcomer]:
    made = Newcomer(tmp_path)
    yield made
    made.close()


def shown_after_run() -> list[list[str]]:
    """The commands that README shows for the other terminal, in its order."""
    shown = re.search(r"In another terminal: (.*?)\. Edit the file", README, re.DOTALL)
    assert shown
    return [words.split()[1:] for words in re.findall(r"`([^`]+)`", " ".join(shown[1].split()))]


def test_the_first_rig_passes_its_check(newcomer: Newcomer) -> None:
    """README's rig is written as it is shown and has no mistakes."""
    done = newcomer.types("check", "pit.toml")
    assert (done.returncode, done.stderr) == (0, "")


def test_every_command_of_the_other_terminal_is_obeyed(newcomer: Newcomer) -> None:
    """Each command that README shows beside the running engine ends with status 0; `watch` goes on and shows what the
    others do."""
    newcomer.plays()
    commands = shown_after_run()
    assert ["scene", "11"] in commands
    assert ["watch"] in commands
    watch = newcomer.begins("watch")
    assert watch.stdout is not None
    try:
        for words in commands:
            if words != ["watch"]:
                done = newcomer.types(*words)
                assert (done.returncode, done.stderr) == (0, ""), words
                assert done.stdout, words
        newcomer.types("scene", "11")
        assert any("Overture" in line for line in iter(watch.stdout.readline, "")), "watch ended without the scene"
    finally:
        watch.kill()
        watch.communicate()


def test_an_edit_of_the_file_takes_over_and_a_faulty_one_does_not(newcomer: Newcomer) -> None:
    """A rig without mistakes takes over at once; of a faulty one the errors are shown by the engine and by `bayleaf
    status`, and the current rig keeps playing."""
    newcomer.plays()
    good = newcomer.rig.read_text(encoding="utf-8").replace('"Overture"', '"Curtain"')
    newcomer.rig.write_text(good, encoding="utf-8")
    until("the edited scene", lambda: newcomer.types("scene", "Curtain").returncode == 0)
    newcomer.rig.write_text(good.replace('"keys"', '"keyz"'), encoding="utf-8")
    until("the error in the status", lambda: 'there is no input "keyz"' in newcomer.types("status").stdout)
    assert newcomer.types("scene", "Curtain").returncode == 0
    assert newcomer.engine is not None
    newcomer.engine.terminate()
    assert 'pit.toml:28: scenes.1.play.1.from: there is no input "keyz"' in newcomer.engine.communicate()[0]


def quoted_runs() -> list[str]:
    """Each block that begins with a command, in README and the handbook."""
    texts = [README, *(page.read_text(encoding="utf-8") for page in (ROOT / "engine" / "handbook").glob("*.md"))]
    return [block for text in texts for block in re.findall(r"^```text\n(\$ .*?)^```$", text, re.MULTILINE | re.DOTALL)]


def test_quoted_runs_are_whole() -> None:
    """What stands below a `$ bayleaf …` is all that this command prints, to the letter."""
    found = quoted_runs()
    assert len(found) >= 2  # README and the page "monitoring"
    for run in found:
        command, _, shown = run.partition("\n")
        words = command.removeprefix("$ bayleaf ").split()
        done = subprocess.run(
            [str(BAYLEAF), *words], cwd=ROOT, capture_output=True, text=True, timeout=_WITHIN, check=False
        )
        assert (done.returncode, done.stdout, done.stderr) == (0, shown, "")


def test_tab_completion_is_set_up(tmp_path: Path) -> None:
    """After `bayleaf --install-completion` a new bash completes commands and options."""
    home = {"HOME": str(tmp_path), "PATH": f"{BAYLEAF.parent}{os.pathsep}{os.environ['PATH']}"}
    (tmp_path / ".bashrc").touch()

    def typed(script: str) -> str:
        done = subprocess.run(
            ["bash", "-c", script], env=home, capture_output=True, text=True, timeout=_WITHIN, check=True
        )
        return done.stdout

    assert "completion installed" in typed("bayleaf --install-completion; true")
    for line, completed in (("bayleaf res", "resend restore"), ("bayleaf sysex send --ha", "--handshake")):
        words = line.split()
        script = f"COMP_WORDS=({line}) COMP_CWORD={len(words) - 1}; _bayleaf_completion bayleaf; echo ${{COMPREPLY[@]}}"
        assert typed(f". ~/.bashrc; complete -p bayleaf >&2; {script}").split() == completed.split()
