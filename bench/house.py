"""Measures the source: how many modules one thing passes through, and how files and functions are cut up.

    python -m bench.house [--json]

A module counts as entered if any of its code runs. Each thing is done once before it is measured, so that caches are
filled and late imports are done. Code in drivers and libraries is not counted.
"""

import argparse
import ast
import io
import json
import statistics
import sys
import tempfile
import time
import tokenize
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from itertools import combinations
from pathlib import Path
from types import FrameType
from typing import Any, Final
from unittest.mock import patch

import trio

from engine.core.commands import RecallScene
from engine.live.edit.rig_session import RigSession
from engine.live.edit.rig_texts import edited
from engine.live.port_opening import PortOpener, connect
from engine.live.process.worker_process import WorkerProcess
from engine.live.reader import InputReader
from engine.live.show import Show
from engine.ports.memory import MemorySystem
from engine.rig.edit.scene_edits import rename_scene
from engine.rig.models.rig import Input, Output
from engine.rig.read.load import load, text_of

ROOT: Final = Path(__file__).parent.parent
HOUSES: Final = ("engine", "filters")
DEMO: Final = ROOT / "presets" / "demo.toml"
#: the most modules that each thing may enter
GOALS: Final = {
    "one message": 8,
    "one scene recall": 14,
    "one edit, in the engine": 30,
    "one edit, in the worker process": 30,
    "one rig load": 30,
}

_ALIKE: Final = 6  # lines that two places must share to be a pair
_LONGEST: Final = 5  # functions that are listed
_NEVER: Final = 10.0  # seconds to wait for a message that the reader thread should have by then


# What is measured: only this section knows the engine


class Playing:
    """The demo rig, played on ports in memory, with the real reader thread and a rig file of its own.

    `things`: what is done, by the name of its goal. Each is a call that prepares, and returns the call to measure.
    """

    def __init__(self, folder: Path) -> None:
        file, text, rig = folder / DEMO.name, text_of(DEMO), load(DEMO)
        file.write_text(text, encoding="utf-8")
        self._ahead = 0  # ns that the show's clock is put forward, so that nothing waits for its cable
        system = MemorySystem("house", _names(rig.inputs), _names(rig.outputs), self._clock)
        opened = connect(rig, PortOpener(system, False))
        self._keys = system.input(opened.inputs["keys"].name)
        self._strings = system.output(opened.outputs["strings"].name)
        self._inbox = InputReader({index: opened.inputs[name] for index, name in enumerate(rig.inputs)}, self._clock)
        self._show = Show(rig, opened, self._inbox, clock=self._clock)
        self._worker = WorkerProcess("engine.live.edit.rig_texts")
        self._session = RigSession(self._show, file, text, self._elsewhere)
        self._inbox.start(lambda: None)
        self._show.apply(RecallScene(11), "shell")
        self.things: dict[str, Callable[[int], Callable[[], object]]] = {
            "one message": self._message,
            "one scene recall": self._recall,
            "one edit, in the engine": self._edit,
            "one edit, in the worker process": self._edited,
            "one rig load": lambda turn: partial(load, file),
        }

    def close(self) -> None:
        """End the reader thread and the worker process."""
        self._inbox.stop()
        self._worker.close()

    def _clock(self) -> int:
        return time.monotonic_ns() + self._ahead

    def _rest(self) -> None:
        """Let time pass until nothing is queued."""
        while self._inbox.due is not None:
            self._ahead += 1_000_000_000
            self._show.pump()

    def _message(self, turn: int) -> Callable[[], object]:
        """A key of the piano was pressed and released, and is pressed again: that is in the reader thread's queue."""
        for message in (b"\x90\x3c\x40", b"\x80\x3c\x40"):
            self._arrive(message)
            self._show.pump()
            self._rest()
        self._strings.sent.clear()
        self._arrive(b"\x90\x3c\x40")
        return self._pass

    def _arrive(self, message: bytes) -> None:
        """Wait until the reader thread has taken this from its port."""
        until = time.monotonic() + _NEVER
        self._keys.push(message)
        while not self._inbox.waiting(self._show.inputs.index("keys")):
            if time.monotonic() > until:
                raise RuntimeError("the reader thread heard nothing")
            time.sleep(0.001)

    def _pass(self) -> None:
        self._show.pump()
        if [message for _, message in self._strings.sent] != [b"\x94\x3c\x40"]:
            raise RuntimeError("the message did not come out")

    def _recall(self, turn: int) -> Callable[[], object]:
        """Recall the scene that is not current."""
        self._rest()
        return partial(self._show.apply, RecallScene(11 + turn % 2), "shell")

    def _edit(self, turn: int) -> Callable[[], object]:
        """Rename a scene and go on with the edited rig."""
        self._rest()
        return partial(self._rename, f"Encore {turn}")

    def _edited(self, turn: int) -> Callable[[], object]:
        """The part of an edit that another process does."""
        change = partial(rename_scene, number=12, name=f"Encore {turn}")
        return partial(edited, change, self._session.text, str(self._session.file))

    async def _elsewhere(self, *work: Any) -> Any:
        """As an engine runs it, but this thread exchanges the pickles."""
        return await self._worker.run(*work)

    def _rename(self, name: str) -> None:
        change = partial(rename_scene, number=12, name=name)
        with patch("trio.to_thread.run_sync", _here):  # other threads would not be counted
            answer = trio.run(self._session.edit, lambda: (change, "renamed"))
        scene = self._show.engine.rig.scene(12)
        if not answer.done or scene is None or scene.name != name:
            raise RuntimeError(f"the scene was not renamed: {answer}")


def _names(ports: Mapping[str, Input] | Mapping[str, Output]) -> tuple[str, ...]:
    """The system's names of the ports, as the rig's patterns match them."""
    return tuple((each.port or "").replace("*", " ") for each in ports.values())


async def _here(call: Callable[..., Any], *given: Any, **how: Any) -> Any:
    """Run it here and now, in place of a thread."""
    return call(*given)


# Modules entered


def entered() -> dict[str, list[str]]:
    """The project's modules that each thing enters, by the name of its goal."""
    found: dict[str, list[str]] = {}
    with tempfile.TemporaryDirectory() as folder:
        playing = Playing(Path(folder))
        try:
            for name, ready in playing.things.items():
                ready(1)()
                ready(2)()
                found[name] = modules_of(ready(3))
        finally:
            playing.close()
    return found


def modules_of(call: Callable[[], object]) -> list[str]:
    """The project's modules whose code runs in this thread during a call."""
    files: set[str] = set()

    def note(frame: FrameType, event: str, argument: object) -> None:
        files.add(frame.f_code.co_filename)

    sys.setprofile(note)
    try:
        call()
    finally:
        sys.setprofile(None)
    return sorted(name for file in files if (name := module_of(Path(file))) is not None)


def module_of(file: Path) -> str | None:
    """The dotted name of a module of the project; None for any other file."""
    if not file.is_relative_to(ROOT):
        return None
    parts = file.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts) if parts[0] in HOUSES else None


# How the source is cut up


@dataclass
class Source:
    """One module's text. `said`: its lines with content and their numbers: see `duplicates`."""

    name: str
    folder: str
    lines: int  # without blank lines
    comments: int  # lines that hold only a comment
    remarks: int  # lines with a comment after their code
    functions: list[tuple[str, int]]  # name, lines from its `def` to its end
    said: list[tuple[int, str]]


def sources() -> Iterator[Source]:
    """Every module of the project."""
    for house in HOUSES:
        for file in sorted((ROOT / house).rglob("*.py")):
            yield _source(file)


def _source(file: Path) -> Source:
    text = file.read_text(encoding="utf-8")
    tree, lines = ast.parse(text), text.splitlines()
    comments = [
        token.start for token in tokenize.generate_tokens(io.StringIO(text).readline) if token.type == tokenize.COMMENT
    ]
    alone = {line for line, column in comments if not lines[line - 1][:column].strip()}
    return Source(
        name=module_of(file) or "",
        folder=str(file.parent.relative_to(ROOT)),
        lines=sum(bool(line.strip()) for line in lines),
        comments=len(alone),
        remarks=len(comments) - len(alone),
        functions=list(_functions(tree, "")),
        said=list(_said(tree, lines, alone)),
    )


def _functions(node: ast.AST, inside: str) -> Iterator[tuple[str, int]]:
    """Name and length of each function, nested ones too."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef):
            name = inside + child.name
            yield name, (child.end_lineno or child.lineno) - child.lineno + 1
            yield from _functions(child, f"{name}.")
        elif isinstance(child, ast.ClassDef):
            yield from _functions(child, f"{inside}{child.name}.")
        else:
            yield from _functions(child, inside)


def _said(tree: ast.AST, lines: list[str], comments: set[int]) -> Iterator[tuple[int, str]]:
    """Lines by number from 1, without blank ones, comments, imports and lone punctuation."""
    passed = set(comments)
    for node in ast.walk(tree):
        if isinstance(node, ast.Import | ast.ImportFrom):
            passed.update(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    for number, line in enumerate(lines, 1):
        if number not in passed and any(sign.isalnum() or sign == "_" for sign in line):
            yield number, line.strip()


@dataclass(frozen=True)
class Pair:
    """Two places, each a module with a line number, and how many lines they share."""

    one: str
    other: str
    lines: int


def duplicates(modules: list[Source]) -> list[Pair]:
    """Each pair of places that share enough lines in a row, as far as they go; the longest first."""
    places: defaultdict[tuple[str, ...], list[tuple[int, int]]] = defaultdict(list)
    texts = [[text for _, text in module.said] for module in modules]
    for which, text in enumerate(texts):
        for start in range(len(text) - _ALIKE + 1):
            places[tuple(text[start : start + _ALIKE])].append((which, start))
    found = []
    for listed in places.values():
        for one, other in combinations(listed, 2):
            apart = one[0] != other[0] or other[1] - one[1] >= _ALIKE
            if apart and not _same(texts, one, other, -1):
                first, second = (f"{modules[at].name}:{modules[at].said[start][0]}" for at, start in (one, other))
                found.append(Pair(first, second, _length(texts, one, other)))
    return sorted(found, key=lambda pair: (-pair.lines, pair.one, pair.other))


def _same(texts: list[list[str]], one: tuple[int, int], other: tuple[int, int], step: int) -> bool:
    """Whether the lines `step` lines further on are the same in both places."""
    ends = [(texts[which], start + step) for which, start in (one, other)]
    return all(0 <= at < len(text) for text, at in ends) and ends[0][0][ends[0][1]] == ends[1][0][ends[1][1]]


def _length(texts: list[list[str]], one: tuple[int, int], other: tuple[int, int]) -> int:
    step = _ALIKE
    while _same(texts, one, other, step):
        step += 1
    return step


# What is printed


def measured() -> dict[str, Any]:
    """All figures, as JSON takes them."""
    modules = list(sources())
    functions = [(f"{module.name}:{name}", lines) for module in modules for name, lines in module.functions]
    longest = sorted(functions, key=lambda each: (-each[1], each[0]))[:_LONGEST]
    folders: dict[str, dict[str, int]] = {}
    for module in modules:
        folder = folders.setdefault(module.folder, {"files": 0, "lines": 0})
        folder["files"] += 1
        folder["lines"] += module.lines
    lines = sum(module.lines for module in modules)
    pairs = duplicates(modules)
    return {
        "entered": {
            name: {"goal": GOALS[name], "modules": len(listed), "names": listed} for name, listed in entered().items()
        },
        "folders": dict(sorted(folders.items())),
        "files": len(modules),
        "lines": lines,
        "functions": {
            "count": len(functions),
            "median": statistics.median(lines for _, lines in functions),
            "longest": dict(longest),
        },
        "comment lines per 100": round(100 * sum(module.comments for module in modules) / lines, 2),
        "lines with a comment behind per 100": round(100 * sum(module.remarks for module in modules) / lines, 2),
        "duplicate pairs": [[pair.one, pair.other, pair.lines] for pair in pairs],
    }


def table(found: dict[str, Any]) -> str:
    """The figures as Markdown."""
    functions, pairs = found["functions"], found["duplicate pairs"]
    lines = ["| what enters | modules | goal |  |", "|---|---:|---:|---|"]
    for name, each in found["entered"].items():
        verdict = "met" if each["modules"] <= each["goal"] else "missed"
        lines.append(f"| {name} | {each['modules']} | ≤ {each['goal']} | {verdict} |")
    lines += ["", "| folder | files | lines that are not blank |", "|---|---:|---:|"]
    lines += [f"| {name} | {each['files']} | {each['lines']:,} |" for name, each in found["folders"].items()]
    lines += [f"| all | {found['files']} | {found['lines']:,} |", "", "| of the source |  |", "|---|---:|"]
    lines += [
        f"| functions | {functions['count']:,} |",
        f"| median length of a function, lines | {functions['median']:g} |",
    ]
    lines += [f"| longest: `{name}` | {length} |" for name, length in functions["longest"].items()]
    lines += [f"| {name} | {found[name]} |" for name in found if name.endswith("per 100")]
    lines.append(f"| pairs of places that share {_ALIKE} lines or more | {len(pairs)} |")
    lines += [f"| `{one}` and `{other}` | {length} |" for one, other, length in pairs]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m bench.house", description="How the house is built, in figures.")
    parser.add_argument("--json", action="store_true", help="print JSON, with the names of the modules entered")
    asked = parser.parse_args()
    found = measured()
    print(json.dumps(found, indent=2) if asked.json else table(found), end="\n" if asked.json else "")


if __name__ == "__main__":
    main()
