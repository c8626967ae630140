"""`include`: ports, instruments and chains that a rig takes from other files beside it.

An included file is TOML with some of the sections of SECTIONS, as a rig has them. Whatever is wrong in it is reported
with its own name and line.
"""

from pathlib import Path, PurePath
from typing import Any, Final, NamedTuple

from engine.regular_files import NotRegular, TooLong, decoded, read_regular
from engine.rig.read.raw_data import Complaint, Data, Keys, names, table
from engine.rig.read.toml_errors import TomlError
from engine.rig.read.toml_limits import LONGEST_TEXT
from engine.rig.read.toml_text import parsed

SECTIONS: Final = ("inputs", "outputs", "instruments", "chains")
_MOST: Final = 16  # files


class IncludedFile(NamedTuple):
    """Where a part of a rig's data is from: the file, its text, and how many keys of a place are not in that file."""

    source: str
    text: str
    skip: int = 0


class WholeData(NamedTuple):
    """A rig's data with what it includes, the mistakes, and the files by the first two keys of what they brought."""

    data: Data
    complaints: list[Complaint]
    files: dict[Keys, IncludedFile]

    @property
    def is_whole(self) -> bool:
        """Whether all that is included could be read. If not, nobody knows which names the rig has."""
        return "network" in self.data or all(("include", i) in self.files for i in range(len(named_files(self.data))))


class IncludeError(Exception):
    """An included file is not TOML."""

    def __init__(self, source: str, fault: TomlError) -> None:
        super().__init__(fault.text)
        self.source, self.fault = source, fault


def named_files(data: Data) -> list[str]:
    """The files that a rig's data names."""
    return [name for _, name in names(data.get("include"), ("include",))]


def with_included(data: Data, folder: Path) -> WholeData:
    """A rig's data with the files that it includes; `folder`: where they are. Raises IncludeError."""
    found = WholeData(dict(data), [], {})
    if "network" in data:  # such a rig may include nothing, and may be another machine's
        return found
    for place, (keys, name) in enumerate(names(data.get("include"), ("include",))):
        if place >= _MOST:
            found.complaints.append(Complaint(keys, f"a rig includes {_MOST} files at the most; bring some together"))
            return found
        text = _text(name, folder, keys, found)
        if text is not None:
            _take(found, ("include", place), IncludedFile(str(folder / name), text))
    return found


def _text(name: str, folder: Path, keys: Keys, found: WholeData) -> str | None:
    """The text of a file, or None after a complaint."""
    path = PurePath(name)
    if path.is_absolute() or ".." in path.parts or not path.parts:
        text = f'found "{name}"; allowed: a file beside the rig file, such as "gear.toml"'
        found.complaints.append(Complaint(keys, text))
        return None
    try:
        return decoded(read_regular(folder / path, LONGEST_TEXT))
    except FileNotFoundError:
        text = f"there is no file {folder / path}; put it beside the rig file"
    except UnicodeDecodeError:
        text = f"{folder / path} is not UTF-8 text; save it as UTF-8"
    except NotRegular:
        text = f"{folder / path} is not a regular file; name one that is"
    except TooLong:
        text = f"{folder / path} is longer than {LONGEST_TEXT // 1_000_000} MB; a rig is far shorter"
    except IsADirectoryError:
        text = f"{folder / path} is a folder; name a file in it"
    except OSError as fault:
        text = f"{folder / path} cannot be read: {fault.strerror}"
    except ValueError as fault:  # a path that is impossible on any system
        text = f"{folder / path} cannot be read: {fault}"
    found.complaints.append(Complaint(keys, text))
    return None


def _take(found: WholeData, place: Keys, file: IncludedFile) -> None:
    """Add what a file has; a name that is there already is a mistake."""
    try:
        brought = parsed(file.text)
    except TomlError as fault:
        raise IncludeError(file.source, fault) from None
    found.files[place] = file._replace(skip=len(place))
    for section, content in brought.items():
        if section not in SECTIONS or not isinstance(content, dict):
            text = f"an included file has the sections {', '.join(SECTIONS)}, and nothing else"
            found.complaints.append(Complaint((*place, section), text))
            continue
        _take_section(found, place, section, content, file)


def _take_section(found: WholeData, place: Keys, section: str, content: dict[str, Any], file: IncludedFile) -> None:
    known = found.data.get(section, {})
    if not isinstance(known, dict):  # that is reported by itself
        return
    for name in content:
        if name in known:
            other = found.files.get((section, name))
            where = other.source if other is not None else "the rig file"
            text = f'"{name}" is in {where}, too; keep one of the two'
            found.complaints.append(Complaint((*place, section, name), text))
        else:
            found.files[section, name] = file
    found.data[section] = {**content, **table(found.data, section)}
