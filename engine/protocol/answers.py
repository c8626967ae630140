"""What the engine answers on its socket."""

from collections.abc import Awaitable, Callable
from typing import Any

from pydantic import BaseModel, ConfigDict

from engine.answer_codes import AnswerCode as AnswerCode
from engine.protocol.fields import Facts

#: answers one request, given as its model
Handler = Callable[[Any], Awaitable["Answer"]]


class Answer(BaseModel):
    """What became of a request: `done`, a code for programs and a sentence for the player."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    done: bool = True
    code: AnswerCode = AnswerCode.DONE
    text: str

    def plain(self) -> Facts:
        """As it goes over the socket: what every answer has, and the other fields that were given."""
        given = Answer.model_fields.keys() | self.model_fields_set
        return {name: getattr(self, name) for name in type(self).model_fields if name in given}


def done(text: str) -> Answer:
    """It was done."""
    return Answer(text=text)


def unchanged(text: str) -> Answer:
    """It is so already."""
    return Answer(code=AnswerCode.UNCHANGED, text=text)


def refused(code: AnswerCode, text: str) -> Answer:
    """It was not done."""
    return Answer(done=False, code=code, text=text)


class InvalidRigAnswer(Answer):
    """A rig that cannot be adopted: the keys at fault, such as "scenes.1.routes.2.through.1.semitones".

    `words`: what is wrong with each of them.
    """

    done: bool = False
    code: AnswerCode = AnswerCode.INVALID_RIG
    keys: list[str]
    words: list[str]


class CommandAnswer(Answer):
    """To a command of the show: what it changed and what that costs. Bytes, and nanoseconds.

    `instruments`: how many are put on another sound; `unchanged`: how many are on theirs already.
    """

    do: str
    source: str
    scene: tuple[int, str] | None
    burst_bytes: int
    ready_ns: int
    held: int
    instruments: int
    unchanged: int = 0


class StatusAnswer(Answer):
    """The state of the show."""

    status: Facts


class WrittenJson(str):
    """Part of an answer that is JSON already."""

    __slots__ = ()


class RigAnswer(Answer):
    """The current rig; `unsaved`: whether it differs from its file.

    With `since`, `rig` has only the parts that are not as in that revision; among its scenes, one that is as it was is
    given by its number alone. Without, it has all. Its values are `WrittenJson`.
    """

    revision: int
    unsaved: bool
    since: int | None = None
    rig: Facts


class FiltersAnswer(Answer):
    """By the name of a filter, its words and the schema of its settings; by a scene's list, that of its tables."""

    filters: Facts
    tables: Facts


class ExplainAnswer(Answer):
    """What a message does: each route with its steps, and the messages of each output in hexadecimal."""

    routes: list[Facts]
    outputs: dict[str, list[str]]
    command: str = ""


class PortsAnswer(Answer):
    """The ports of the computer: {"port": name, "used_by": input or output of the rig, or None}."""

    inputs: list[dict[str, str | None]]
    outputs: list[dict[str, str | None]]


class ListenAnswer(Answer):
    """What the rig does not use: {"port": name, "name": a short one, "messages": count, "last": in words or ""}."""

    inputs: list[Facts]
    outputs: list[Facts]


class LearnedAnswer(Answer):
    """The condition of the control, in the keys of the rig file, None if nothing came; how often it was pressed."""

    control: Facts | None
    presses: int
    bounce_ms: float


class DifferencesAnswer(Answer):
    """A sentence for each difference."""

    differences: list[str]


class PairingsAnswer(Answer):
    """The panel's answer: the paired browsers, and the codes with which more of them may be paired.

    Pairings are {"id", "role", "since", "until", "address", "own"}, codes {"role", "code", "link", "squares"}.
    """

    pairings: list[Facts]
    codes: list[Facts]


class ScenesAnswer(Answer):
    """The scenes: {"number", "name", "cue": label or None, "at": time code or None, "now": whether in force}."""

    scenes: list[Facts]


class VersionsAnswer(Answer):
    """The versions of the rig file, newest first: {"number", "time", "bytes"}."""

    versions: list[Facts]


class BackupAnswer(Answer):
    """The text of the current rig, and its device number."""

    rig: str
    device: int


class RehearseAnswer(Answer):
    """What a rehearsal found: sentences of what to fix, remarks, and the whole report as a page of HTML, or ""."""

    findings: list[str]
    remarks: list[str]
    page: str


class IdentifyAnswer(Answer):
    """A row for each reply and each output without one: {"output", "input", "identity", "text"}."""

    rows: list[Facts]


class ReceivedAnswer(Answer):
    """A dump that came in. Counts, and bytes of its longest message; what was asked, and where."""

    messages: int = 0
    bytes: int = 0
    longest: int = 0
    request: str = ""
    output: str = ""
    identity: Facts | None = None


class DumpAnswer(Answer):
    """A whole dump, message by message, in hexadecimal."""

    messages: list[str]


class SentAnswer(Answer):
    """A dump that went out, or part of it. Counts, and seconds that the rest would take."""

    messages: int
    of: int
    bytes: int
    of_bytes: int
    left_s: float
