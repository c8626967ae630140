"""Reads a rig file, or lists all its mistakes together, each by file, line and key."""

import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from heapq import nsmallest
from itertools import islice
from pathlib import Path
from typing import Any, Final, NamedTuple

from pydantic import ValidationError

from engine.midi.message_words import MIDDLE_CS
from engine.plurals import counted
from engine.regular_files import NotRegular, TooLong, decoded, read_regular
from engine.rig.lowering.whole_scenes import WholeScenes
from engine.rig.models.rig import Rig, rig_model
from engine.rig.read.cross_checks import cross_check
from engine.rig.read.included import IncludedFile, IncludeError, with_included
from engine.rig.read.mpe_zones import with_managers
from engine.rig.read.printed_programs import with_printed
from engine.rig.read.raw_data import Complaint, Keys, shortened, table
from engine.rig.read.sound_list import with_lists
from engine.rig.read.templates import with_templates
from engine.rig.read.toml_errors import TomlError
from engine.rig.read.toml_layout import line_of, lines_of
from engine.rig.read.toml_limits import LONGEST_TEXT
from engine.rig.read.toml_text import parsed
from engine.rig.read.validation_words import by_place, sentence
from engine.user_error import UserError

_NO_LINE: Final = 0
_LISTED: Final = 100  # mistakes that are listed; of the others only the number is given
_INHERITED: Final = 200_000  # lines of scenes that are like others; a rig of 500 cues has 20,000
_SENTENCE: Final = 4000  # characters of one; names in it may be long
_COMPARED: Final = 1000  # mistakes between two places of the file after which no more are looked for


@dataclass(frozen=True, order=True)
class RigProblem:
    """One mistake. Prints as one sentence: FILE:LINE: KEY: what was found; what is allowed.

    Line 0 means the file as a whole, and is not printed.
    """

    file: str
    line: int
    key: str
    text: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        line = f"{place}: " + (f"{self.key}: " if self.key else "") + self.text
        return "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in line)


class RigError(UserError):
    """A rig file cannot be used; `problems` are its mistakes in the order of the file.

    `more`: the number of those not listed; `counted_all`: whether all have been looked for.
    """

    def __init__(self, problems: Iterable[RigProblem], more: int = 0, counted_all: bool = True) -> None:
        self.problems = tuple(sorted(set(problems)))
        self.more, self._counted_all = more, counted_all
        lines = [str(problem) for problem in self.problems]
        if more:
            number = counted(more, "more mistake") if counted_all else f"at least {counted(more, 'more mistake')}"
            lines.append(f"{self.problems[0].file}: and {number}; correct these first")
        super().__init__("\n".join(lines))

    def __reduce__(self) -> tuple[type["RigError"], tuple[tuple[RigProblem, ...], int, bool]]:
        return RigError, (self.problems, self.more, self._counted_all)  # it comes from another process, too


def load(path: Path) -> Rig:
    """The rig in a file. Raises RigError."""
    return read(text_of(path), str(path))


def text_of(path: Path) -> str:
    """The text of a rig file, with single-character line ends. Raises RigError if it cannot be read."""
    try:
        return decoded(read_regular(path, LONGEST_TEXT))
    except UnicodeDecodeError as fault:
        line = fault.object[: fault.start].count(b"\n") + 1
        raise _whole(path, line, "this is not UTF-8 text; save the file as UTF-8") from None
    except TooLong:
        raise _whole(
            path, _NO_LINE, f"the file is longer than {LONGEST_TEXT // 1_000_000} MB; a rig is far shorter"
        ) from None
    except NotRegular:
        raise _whole(path, _NO_LINE, "this is not a regular file; name the rig file") from None
    except FileNotFoundError:
        raise _whole(path, _NO_LINE, f"there is no such file; make one with: bayleaf new {path}") from None
    except IsADirectoryError:
        raise _whole(path, _NO_LINE, "this is a folder; name the rig file in it") from None
    except OSError as fault:
        raise _whole(path, _NO_LINE, f"the file cannot be read: {fault.strerror}") from None
    except ValueError as fault:  # a path that is impossible on any system
        raise _whole(path, _NO_LINE, f"the file cannot be read: {fault}") from None


def read(text: str, source: str, *, lists: bool = True, folder: Path | None = None) -> Rig:
    """The rig in a text. `source` names it in errors. Raises RigError.

    Included files and sound lists are looked for in `folder`, or beside `source`. Without `lists`, sound lists are not
    read, and sounds that may be in one are not checked.
    """
    folder = Path(source).parent if folder is None else folder
    try:
        text.encode()
        data = parsed(text)
    except UnicodeEncodeError as fault:
        line = text[: fault.start].count("\n") + 1
        text = "this line contains half a character (a lone surrogate), which no file can hold; retype it"
        raise RigError([RigProblem(source, line, "", text)]) from None
    except TomlError as fault:
        raise RigError([RigProblem(source, fault.line, fault.key, fault.text)]) from None
    try:
        included = with_included(data, folder)
    except IncludeError as wrong:
        raise RigError([RigProblem(wrong.source, wrong.fault.line, wrong.fault.key, wrong.fault.text)]) from None
    data, complaints, files = included
    if not included.is_whole:
        raise _error(WrittenPlaces(IncludedFile(source, text), files), _compared(complaints), counted_all=True)
    data, unknown = with_templates(data)
    data, doubled = with_managers(data)
    complaints += [*unknown, *doubled]
    if lists:
        data, unread = with_lists(data, folder)
        complaints += unread
    data, unlabelled = with_printed(data)
    complaints += unlabelled
    compared = [*islice(cross_check(data, lists=lists), _COMPARED)]
    complaints += compared
    try:
        rig = rig_model().model_validate(data, context=naming(data))
    except ValidationError as fault:
        found = [*_compared(complaints), *_validated(data, fault)]
    else:
        complaints += _grown(rig) if not complaints else []
        if not complaints:
            return rig
        found = _compared(complaints)
    raise _error(WrittenPlaces(IncludedFile(source, text), files), found, len(compared) < _COMPARED)


def _grown(rig: Rig) -> list[Complaint]:
    """The first scene with which all that scenes inherit is too much: ten thousand lines may be inherited as often."""
    wholes, lines = WholeScenes(rig), 0
    for place, scene in enumerate(rig.scenes):
        if scene.like is not None:
            whole = wholes.whole(scene)
            lines += sum(map(len, (whole.play, whole.routes, whole.burst, whole.enter, whole.leave)))
        if lines > _INHERITED:
            text = f"with what they inherit, the scenes so far have more than {_INHERITED} lines; inherit less"
            return [Complaint(("scenes", place, "like"), text)]
    return []


def naming(data: dict[str, Any]) -> dict[str, Any]:
    """What names of notes depend on, as the context of validation: how the gear in this rig prints middle C."""
    middle_c = table(data, "rig").get("middle_c")
    return {"middle_c": middle_c} if middle_c in MIDDLE_CS else {}


class _Finding(NamedTuple):
    """A mistake: its place, and what makes its sentence, which is costly."""

    keys: Keys
    words: Callable[[], str]


def _compared(complaints: Iterable[Complaint]) -> list[_Finding]:
    return [_Finding(each.keys, partial(str, each.text)) for each in complaints]


def _validated(data: dict[str, Any], fault: ValidationError) -> Iterator[_Finding]:
    errors = fault.errors(include_url=False, include_input=False)
    return (_Finding(keys, partial(sentence, data, listed)) for keys, listed in by_place(data, errors).items())


class WrittenPlaces:
    """Where in its files a rig's data are written."""

    def __init__(self, rig: IncludedFile, files: Mapping[Keys, IncludedFile]) -> None:
        self._rig, self._files = rig, files
        self._lines: dict[str, dict[Keys, int]] = {}

    def place(self, keys: Keys) -> tuple[bool, str, int]:
        """Whether it is in an included file, the file, and the line."""
        file = self._files.get(keys[:2], self._rig)
        if file.source not in self._lines:
            self._lines[file.source] = lines_of(file.text)
        return file is not self._rig, file.source, line_of(self._lines[file.source], keys[file.skip :])

    def key(self, keys: Keys) -> str:
        """The key as people write it in that file."""
        return _key(keys[self._files.get(keys[:2], self._rig).skip :])


def places_in(path: Path) -> WrittenPlaces:
    """Where the data of a rig file that loads are written."""
    text = text_of(path)
    files = with_included(parsed(text), path.parent).files
    return WrittenPlaces(IncludedFile(str(path), text), files)


def _error(sources: WrittenPlaces, findings: Sequence[_Finding], counted_all: bool) -> RigError:
    """The first findings in the order of the files, the rig's own first, and the number of the others."""
    first = nsmallest(_LISTED, ((*sources.place(found.keys), place) for place, found in enumerate(findings)))
    listed = ((source, line, findings[place]) for _, source, line, place in first)
    problems = [
        RigProblem(source, line, sources.key(found.keys), shortened(found.words(), _SENTENCE))
        for source, line, found in listed
    ]
    return RigError(problems, len(findings) - len(problems), counted_all)


_BARE = re.compile(r"[A-Za-z0-9_-]+")


def _key(keys: Keys) -> str:
    """A path as people write it: list elements count from 1, and names that need quotes have them."""
    return ".".join(
        str(key + 1) if isinstance(key, int) else key if _BARE.fullmatch(key) else json.dumps(key, ensure_ascii=False)
        for key in keys
    )


def _whole(path: Path, line: int, text: str) -> RigError:
    return RigError([RigProblem(str(path), line, "", text)])
