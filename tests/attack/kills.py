"""Kills a process again and again while it saves, at any moment, and looks at what is in the files.

    python -m tests.attack.kills [--kind NAME …] [--count 1000] [--seed N]

A process saves one text after the other without a pause; after a random time it gets SIGKILL. The time is up to twice
what the first files took here, so that each kind of file is hit on a busy computer, too. Then every file must hold one
of the whole texts, every version must be one, and the next save must be done as if nothing had happened.
"""

import argparse
import os
import random
import secrets
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Final, Protocol

from engine.core.control.setlist import ShowPosition
from engine.live.process.last_scene import read_last, write_last
from engine.live.recorder import FlightRecorder, RecorderSnapshot
from engine.live.recording_files import RecordingNames, write
from engine.panel.paired_browsers import Role
from engine.panel.pairing import Pairing
from engine.rig.edit.versions import RigVersions

_MOST_BROWSERS: Final = 60  # beyond 64 the first are dropped, as they should be
_LATEST: Final = 0.012  # seconds after the first save has begun, at least
_AS_LONG: Final = 2  # times what it took to make the first files


class Torn(Exception):
    """A file is not whole; the text says which."""


def _need(condition: object, what: str) -> None:
    if not condition:
        raise Torn(what)


class Saved(Protocol):
    """Something that is saved in a folder. `save` is called with 0, 1, 2 … in a process that is killed."""

    def save(self, number: int) -> None: ...

    def check(self) -> None:
        """Raises Torn. It also saves once more, as the next start does."""


class RigFile:
    """The rig file, and the versions beside it."""

    def __init__(self, folder: Path) -> None:
        self._versions = RigVersions(folder / "pit.toml")
        self._versions.path.write_text(_text(0))

    def save(self, number: int) -> None:
        self._versions.save(_text(number + 1), self._versions.present())

    def check(self) -> None:
        present = self._versions.present()
        _need(_is_whole(present), "the rig file")
        listed = self._versions.list()
        _need(all(_is_whole(self._versions.text(each.number)) for each in listed), "a version")
        self._versions.save(_text(0), present)
        self._versions.save(_text(1), _text(0))
        left = [file.name for file in self._versions.path.parent.rglob("*.saving")]
        _need(not left, f"what the killed save left was not swept: {left}")


def _text(number: int) -> str:
    return f"text {number}\n" * 4000


def _is_whole(text: str | None) -> bool:
    if text is None:
        return False
    line = text.partition("\n")[0]
    return text == f"{line}\n" * 4000


class StateFile:
    """The scene and the place of every show of an engine."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / "show.json"
        self._rigs = [folder / f"{name}.toml" for name in ("friday", "saturday", "matinee")]
        for rig in self._rigs:
            write_last(self._file, rig, {"": _position(0)})

    def save(self, number: int) -> None:
        write_last(self._file, self._rigs[number % 3], {"": _position(number)})

    def check(self) -> None:
        for rig in self._rigs:
            last = read_last(self._file, rig).get("")
            _need(last is not None and last == _position(last.place), f"the state file: {last}")
        write_last(self._file, self._rigs[0], {"": _position(0)})


def _position(number: int) -> ShowPosition:
    return ShowPosition(1 + number % 3, "Friday" * (1 + number % 50), number)


class Pairings:
    """The browsers that are paired."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / "pit.panel.json"
        self._codes: dict[Role, str] = {}
        self._pairing = self._begun()
        self._tokens = [self._pair(self._pairing) for _ in range(3)]

    def _begun(self) -> Pairing:
        pairing = Pairing(self._file, self._codes.__setitem__, clock=count(step=100).__next__)  # nobody has to wait
        pairing.begin()
        return pairing

    def _pair(self, pairing: Pairing) -> str:
        return pairing.pair(self._codes["operate"], "192.0.2.1")[0]

    def save(self, number: int) -> None:
        if number < _MOST_BROWSERS:
            self._pair(self._pairing)

    def check(self) -> None:
        again = self._begun()
        _need(all(again.role_of(token) == "operate" for token in self._tokens), "the pairings")
        token = self._pair(again)
        _need(self._begun().role_of(token), "the pairing after the kill")


class FlightRecordings:
    """Recordings: a file of its own each time, in both formats."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._kept = _evening()
        self._names = RecordingNames("Pit", ("keys",), ("strings",))
        self._whole = {each: self._write(f"whole{each}").read_bytes() for each in (".jsonl", ".mid")}

    def _write(self, name: str) -> Path:
        file = self._folder / name
        write(self._kept, file, self._names)
        return file

    def save(self, number: int) -> None:
        self._write(f"night{number}{'.mid' if number % 2 else '.jsonl'}")

    def check(self) -> None:
        for file in self._folder.glob("night*"):
            _need(file.read_bytes() == self._whole[file.suffix], file.name)
        self._write("next.mid")


def _evening() -> RecorderSnapshot:
    recorder = FlightRecorder()
    for number in range(600):
        recorder.fresh.append((number * 1_000_000, 0, bytes((0x90, number % 128, 64))))
        recorder.told(number * 1_000_000, "all is well")
    return recorder.last(600_000_000, 60)


KINDS: Final[dict[str, Callable[[Path], Saved]]] = {
    "rig": RigFile,
    "state": StateFile,
    "pairings": Pairings,
    "recordings": FlightRecordings,
}


def killed_saves(kind: str, kills: int, seed: int) -> list[str]:
    """Kill this many saves of a kind, after random times; what was torn, and by which kill."""
    chance, torn = random.Random(seed), []
    for number in range(kills):
        with tempfile.TemporaryDirectory(prefix="bl") as folder:
            begun = time.monotonic()
            saved = KINDS[kind](Path(folder))
            latest = max(_LATEST, _AS_LONG * (time.monotonic() - begun))
            _kill_while(saved, chance.uniform(0, latest))
            try:
                saved.check()
            except Exception as fault:
                torn.append(f"{kind} {number}: {fault!r}")
    return torn


def _kill_while(saved: Saved, after: float) -> None:
    ready, begun = os.pipe()
    child = os.fork()
    if not child:
        try:
            os.write(begun, b"x")
            number = 0
            while True:
                saved.save(number)
                number += 1
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(1)
    os.read(ready, 1)
    os.close(ready)
    os.close(begun)
    time.sleep(after)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    _need(os.WIFSIGNALED(status), "the process that saves has failed by itself")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kind", action="append", choices=KINDS)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=secrets.randbelow(1 << 32))
    wish = parser.parse_args()
    failed = False
    for kind in wish.kind or KINDS:
        torn = killed_saves(kind, wish.count, wish.seed)
        print(f"{kind}: {wish.count:,} kills, seed {wish.seed}, {len(torn)} torn", *torn, sep="\n", flush=True)
        failed |= bool(torn)
    return failed


if __name__ == "__main__":
    sys.exit(main())
