"""The backup and restore commands, against a running engine. (Our own design; no outside source.)"""

import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import mido
import pytest

from tests.support.engine_in_memory import EngineInMemory
from tests.support.paths import BAYLEAF

pytestmark = pytest.mark.slow

RIG = """\
format = 1   # kept as it is
[inputs]
keys = { port = "Stage piano" }
[outputs]
strings = { port = "Box" }
[[scenes]]
number = 1
name = "Overture"
[[scenes]]
number = 2
name = "Finale"
"""
#: longer than a request may usually be
LONG = RIG + "".join(f"# {line:06} what was said at rehearsal\n" for line in range(4000))


@pytest.fixture
def running() -> Iterator[EngineInMemory]:
    """Keep the path short, since a socket's path may have at most 107 bytes."""
    with tempfile.TemporaryDirectory(prefix="bl") as folder:
        made = EngineInMemory(Path(folder))
        try:
            yield made
        finally:
            made.process.kill()
            made.process.wait()


@pytest.mark.parametrize("text", [RIG, LONG], ids=["short", "long"])
def test_a_backup_in_a_file_and_back(running: EngineInMemory, text: str) -> None:
    """`backup` writes a .syx file that other programs can read; after a restore the same bytes play and are saved."""
    running.start(text)
    done = running.bayleaf("backup", "pit.syx")
    assert done.returncode == 0, done.stderr
    messages = mido.read_syx_file(running.folder / "pit.syx")
    mido.write_syx_file(running.folder / "copy.syx", messages)
    assert running.bayleaf("scenes", "rename", "2", "Last dance").returncode == 0
    done = running.bayleaf("restore", "copy.syx")
    assert done.returncode == 0, done.stderr
    assert "copy.syx" in done.stdout
    assert running.bayleaf("save").returncode == 0
    assert running.file.read_text(encoding="utf-8") == text


def test_a_file_that_is_there_is_left_alone(running: EngineInMemory) -> None:
    """`backup` never overwrites a file."""
    running.start(RIG)
    there = running.folder / "pit.syx"
    there.write_bytes(b"mine")
    done = running.bayleaf("backup", "pit.syx")
    assert done.returncode == 1
    assert "already exists and was left alone" in done.stderr
    assert there.read_bytes() == b"mine"


def test_a_disk_without_room(running: EngineInMemory) -> None:
    """If the file cannot be written completely, `backup` says so with status 1 and leaves no partial file."""
    running.start(LONG)
    limited = ["sh", "-c", 'ulimit -f 1; exec "$0" backup pit.syx', str(BAYLEAF)]  # at most 512 bytes per file
    done = subprocess.run(
        limited, env=running.environment, cwd=running.folder, capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 1
    assert "pit.syx cannot be written" in done.stderr
    assert not (running.folder / "pit.syx").exists()


def test_an_output_by_name(running: EngineInMemory) -> None:
    """When it sends to an output, `backup` says how many blocks there are; an output that does not exist is named."""
    running.start(RIG)
    done = running.bayleaf("backup", "strings")
    assert done.returncode == 0, done.stderr
    assert "the rig is being sent to strings in" in done.stdout
    done = running.bayleaf("backup", "brass")
    assert done.returncode == 1
    assert 'there is no output "brass"; there are: strings' in done.stderr


@pytest.mark.parametrize(("place", "words"), [("lost", "block 2 of"), ("broken", "block 2 arrived corrupted")])
def test_a_broken_file_replaces_nothing(running: EngineInMemory, place: str, words: str) -> None:
    """A file with a lost or damaged block is rejected with status 1 and the block named; the current rig plays on."""
    running.start(LONG)
    assert running.bayleaf("backup", "pit.syx").returncode == 0
    messages = [bytes(message.bin()) for message in mido.read_syx_file(running.folder / "pit.syx")]
    changed = b"" if place == "lost" else messages[1][:60] + bytes((messages[1][60] ^ 1,)) + messages[1][61:]
    (running.folder / "bad.syx").write_bytes(b"".join((messages[0], changed, *messages[2:])))
    assert running.bayleaf("scenes", "rename", "2", "Last dance").returncode == 0
    done = running.bayleaf("restore", "bad.syx")
    assert done.returncode == 1
    assert words in done.stderr
    assert "Last dance" in running.names()
