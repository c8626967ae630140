"""Edits and reads rig texts and files in the engine's worker process: the only place where a running engine does.

A rig goes back to the engine in pickled parts, so that it can keep every part that is as it was.
"""

import pickle
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, Final, NamedTuple

from engine.core.control.rig_dump import DumpCollector
from engine.protocol import Answer, AnswerCode, InvalidRigAnswer, LongText, refused, unchanged, whole_text
from engine.rig.edit import differences
from engine.rig.edit.remote_restore import checked
from engine.rig.edit.scene_edits import EditError, UnknownScene
from engine.rig.edit.versions import plain
from engine.rig.edit.whole_edits import InvalidRig
from engine.rig.models.pickled import pickled
from engine.rig.models.rig import Rig, rig_model
from engine.rig.read.load import RigError, RigProblem, read, text_of
from engine.rig.read.sound_list import named

#: makes one text of another, given the rig's `folder` by that keyword, or is the new text
Change = Callable[..., str] | str
#: the text of a whole rig, or what holds it: to read it holds Python's lock, so that is done here, too
SentRig = str | LongText | DumpCollector

_SCENES: Final = "scenes"


class PackedRig(NamedTuple):
    """The sections that a rig has, by key, and its scenes, each pickled."""

    sections: dict[str, bytes]
    scenes: tuple[bytes, ...]


class EditedText(NamedTuple):
    """A text and the rig in it."""

    text: str
    rig: PackedRig


class FileLook(NamedTuple):
    """What a rig file holds."""

    lists: frozenset[str]  # the sound lists that it names, even if it is not valid
    as_read: bool  # the text that it held when it was read last
    as_played: bool  # the text that plays


class NotReplaced(Exception):
    """A rig that was sent does not take the place of the one that plays: `answer` says why."""

    def __init__(self, answer: Answer) -> None:
        super().__init__(answer.text)
        self.answer = answer


def edited(change: Change, text: str, source: str) -> EditedText | Answer:
    """The changed text with its rig, or why there is none; `source` is as in `read`."""
    try:
        made = plain(change if isinstance(change, str) else change(text, folder=Path(source).parent))
        return EditedText(made, packed(read(made, source)))
    except NotReplaced as fault:
        return fault.answer
    except UnknownScene as fault:
        return refused(AnswerCode.UNKNOWN_SCENE, str(fault))
    except InvalidRig as fault:
        return _invalid(str(fault), fault.problems)
    except EditError as fault:
        return refused(AnswerCode.NOT_POSSIBLE, str(fault))
    except RigError as fault:
        return _invalid(str(fault), fault.problems)


def _invalid(text: str, problems: Iterable[RigProblem]) -> Answer:
    listed = list(problems)
    return InvalidRigAnswer(text=text, keys=[one.key for one in listed], words=[one.text for one in listed])


def changes(before: str | None, after: str, source: str) -> list[str]:
    """What a saved text changes, in sentences. Raises RigError if it holds no valid rig."""
    rig = read(after, source)
    if before is None:
        return ["the file is new"]
    try:
        found = differences.rigs(read(before, source), rig)
    except RigError:
        return ["the file did not hold a valid rig; its text is kept as the newest version"]
    return found or ["nothing that is played, only the way it is written"]


def lines(old: str, new: str, from_name: str, to_name: str) -> str:
    """What differs between two texts, line by line; bytes that are not UTF-8 are shown as a replacement character."""
    shown = differences.text(old, new, from_name, to_name)
    return shown.encode("utf-8", errors="surrogateescape").decode("utf-8", errors="replace")


def looked_into(file: Path, read: str | None, played: str) -> FileLook:
    """What a rig file holds, beside the text that was read from it last and the one that plays. Raises RigError."""
    text = text_of(file)
    return FileLook(named(text), text == read, text == played)


# Changes


def replaced_by_file(text: str, *, file: Path, folder: Path) -> str:
    """The text of a rig file. Raises RigError."""
    return text_of(file)


def replaced(text: str, *, new: SentRig, where: str, folder: Path) -> str:
    """The text that the player sends; `where` it comes from. Raises NotReplaced."""
    try:
        wanted = new.text() if isinstance(new, DumpCollector) else whole_text(new)
    except ValueError as fault:
        raise NotReplaced(refused(AnswerCode.INTERRUPTED, str(fault))) from None
    if wanted == text:
        raise NotReplaced(unchanged(f"the rig from {where} is already current"))
    return wanted


def replaced_from_outside(text: str, *, new: SentRig, where: str, source: str, way: str, folder: Path) -> str:
    """The same for a text that came "over MIDI" or another `way`, which may not change everything. Raises what
    `checked` raises, too."""
    wanted = replaced(text, new=new, where=where, folder=folder)
    return checked(text, new=wanted, source=source, way=way, folder=folder)


# Parts on their way between two processes


def packed(rig: Rig) -> PackedRig:
    """A rig in pickled parts; equal parts are pickled alike, but for chance."""
    sections = {key: pickled(getattr(rig, key)) for key in rig.model_fields_set if key != _SCENES}
    return PackedRig(sections, tuple(map(pickled, rig.scenes)))


class RigParts:
    """Puts rigs together again; what is equal to a part of the rig before is that part itself."""

    def __init__(self) -> None:
        self._known: dict[bytes, Any] = {}  # the parts of the rig that was put together last

    def unpacked(self, parts: PackedRig, before: Rig) -> Rig:
        """The rig, with the parts of the one before where they are equal. Any thread, one at a time."""
        scenes = {scene.number: scene for scene in before.scenes}
        known: dict[bytes, Any] = {}
        values: dict[str, Any] = {}
        for key, part in parts.sections.items():
            values[key] = known[part] = _same(self._loaded(part), getattr(before, key))
        for part in parts.scenes:
            scene = self._loaded(part)
            known[part] = _same(scene, scenes.get(scene.number))
        self._known = known
        values[_SCENES] = tuple(known[part] for part in parts.scenes)
        return rig_model().model_construct({*values}, **values)

    def _loaded(self, part: bytes) -> Any:
        return self._known[part] if part in self._known else pickle.loads(part)


def _same(found: Any, before: Any) -> Any:
    """What was there before, if it is equal and a table of ports or instruments is in the same order, too."""
    alike = before == found and (not isinstance(found, dict) or repr(before) == repr(found))
    return before if alike else found
