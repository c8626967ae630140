"""Every request and answer on a running engine's socket, and one table of who may ask what and what it costs.

A request is one line of JSON, {"do": …, …}; the answer is one line with "done", "code" and "text". A new request needs
a model with a row in `TABLE` here, and a handler in the engine, by the model. Nothing else lists requests.
"""

from collections.abc import Awaitable, Callable, Iterable, Mapping
from typing import Annotated, Any, Final, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from engine.answer_codes import AnswerCode as AnswerCode

#: answers one request, given as its model
Handler = Callable[[Any], Awaitable["Answer"]]
#: bytes of a request: a whole rig may come in one
LONGEST_REQUEST: Final = 8 << 20
MOST_SECONDS: Final = 3600.0

_NAME: Final = 1000  # characters of a name
_PATH: Final = 5000  # characters of a path
_TRACED: Final = 3 * 1024  # characters of a message of 1,024 bytes in hexadecimal, with its spaces
_LISTED: Final = 1000  # names, routes, filters or steps in one request
_MOST_BYTES: Final = 1 << 24
_AGES: Final = 1e9  # seconds
_INT: Final = 1 << 53  # whole numbers up to here are the same for every reader of JSON

Facts = dict[str, Any]
Number = Annotated[int, Field(ge=-_INT, le=_INT)]
Name = Annotated[str, Field(max_length=_NAME)]
FilePath = Annotated[str, Field(max_length=_PATH)]
Seconds = Annotated[float, Field(ge=0, le=MOST_SECONDS, allow_inf_nan=False)]
Links = Annotated[list[Facts | Name], Field(max_length=_LISTED)]
Tables = Annotated[list[Facts], Field(max_length=_LISTED)]

_SECONDS: Final = f"a number of seconds from 0 to {MOST_SECONDS:.0f}"
_MESSAGE: Final = "one whole SysEx in hexadecimal, from F0 to F7"


class Request(BaseModel):
    """Base of all requests: the fields beside "do" and "what". Errors quote the description of the field at fault."""

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid")


# The show


class RecallRequest(Request):
    """Recall a scene."""

    scene: Number | Name = Field(description="a scene's number or name")


class NextRequest(Request):
    """Recall the next scene of the set list."""


class BackRequest(Request):
    """Recall the scene before."""


class FirstRequest(Request):
    """Recall the first scene of the set list."""


class EntryRequest(Request):
    """Recall the scene at an entry of the set list."""

    entry: Number = Field(description="the number of an entry of the set list; the first is 1")


class SetlistRequest(Request):
    """Play by another set list."""

    setlist: Name = Field(description="the name of a set list")


class NextSongRequest(Request):
    """Recall the first scene of the next song."""


class BackSongRequest(Request):
    """Recall the first scene of this song or, if that is the present one, of the song before."""


class SongRequest(Request):
    """Recall the first scene of a song."""

    song: Name = Field(description="the name of a song")


class TransposeRequest(Request):
    """Transpose all play lines further, or no longer."""

    step: int = Field(ge=-24, le=24, description="semitones more than now, or 0 for none at all")


class PanicRequest(Request):
    """Silence every output, or one instrument."""

    instrument: Name | None = Field(None, description="the name of an instrument, or null for everything")


class ResendRequest(Request):
    """Send the sounds of the current scene again."""


class TapRequest(Request):
    """One tap of the tempo."""


class ClockRequest(Request):
    """Control the rig's own clock."""

    what: Name = Field(description="start, continue, stop, tempo or locate")
    value: float | Name | None = Field(
        None, description="beats per minute with tempo, a song position in sixteenths with locate"
    )


class TimecodeRequest(Request):
    """Control the rig's own time code."""

    what: Name = Field(description="start, stop or locate")
    value: float | Name | None = Field(None, description='a place such as "01:00:00:00", with locate')


class MuteRequest(Request):
    """Mute a named route."""

    route: Name = Field(description="the name of a route")


class UnmuteRequest(Request):
    """Unmute a named route."""

    route: Name = Field(description="the name of a route")


class HandoverRequest(Request):
    """Let the other engine of the network take charge."""


# What a page or a shell asks about the show


class StatusRequest(Request):
    """The state of the show, all of it."""


class WatchRequest(Request):
    """From now on this connection is sent the messages that pass, and the engine's notices."""


class FollowRequest(Request):
    """From now on this connection is sent frames with what has changed, and says only {"events": true or false}."""

    events: bool = Field(False, description="true if the frames are to hold the messages that pass, else false")


class RigRequest(Request):
    """The current rig, or what has changed in it."""

    since: Number | None = Field(None, description="the revision of the rig that the asker has, or null for all of it")


class FiltersRequest(Request):
    """All filters, with the JSON schema of their settings; and that of play lines and what scenes send."""


class ExplainRequest(Request):
    """What a message would do in a scene."""

    scene: Number = Field(description="a scene's number")
    input: Name = Field(description="the name of an input")
    message: str = Field(
        max_length=_TRACED,
        description="one whole MIDI message of up to 1,024 bytes in hexadecimal, such as 90 3C 40",
    )


class PortsRequest(Request):
    """The ports of the computer."""


class DifferencesRequest(Request):
    """What differs between two scenes."""

    first: Number = Field(description="a scene's number")
    second: Number = Field(description="a scene's number")


class KeepRequest(Request):
    """Write the last seconds of the show to a file."""

    last_s: float = Field(gt=0, lt=_AGES, description="a number of seconds above 0")
    file: FilePath = Field(pattern="^/", description="an absolute path")


# Edits


class ListScenesRequest(Request):
    """The scenes of the current rig."""


class CopySceneRequest(Request):
    """Copy a scene to a new number."""

    number: Number = Field(description="a scene's number")
    new: Number = Field(description="the number of the copy")
    name: Name | None = Field(None, description="the name of the copy")


class RenameSceneRequest(Request):
    """Rename a scene."""

    number: Number = Field(description="a scene's number")
    name: Name = Field(description="the new name")


class RenumberSceneRequest(Request):
    """Renumber a scene."""

    number: Number = Field(description="a scene's number")
    new: Number = Field(description="the new number")


class MoveSceneRequest(Request):
    """Move a scene within the file."""

    number: Number = Field(description="a scene's number")
    new: Number | None = Field(None, description="the number of the scene that is to follow it, or null for the end")


class DeleteSceneRequest(Request):
    """Delete a scene."""

    number: Number = Field(description="a scene's number")


class StoreSceneRequest(Request):
    """Store the routes and sounds that are in force as a scene."""

    number: Number = Field(description="a scene's number")
    name: Name | None = Field(None, description="the scene's name")


class UndoRequest(Request):
    """Undo the last edit."""


class RedoRequest(Request):
    """Redo the edit that was undone last."""


class EditRequest(Request):
    """Base of edits of one scene that may depend on what their author last saw."""

    scene: Number = Field(description="a scene's number")
    revision: Number | None = Field(None, description="the revision of the rig that the edit is made for")


class ConnectionRequest(EditRequest):
    """Base of connecting an input with an output and disconnecting them."""

    source: Name = Field(alias="from", description="the name of an input")
    to: Name = Field(description="the name of an output")


class JoinRequest(ConnectionRequest):
    """Connect an input with an output."""


class PartRequest(ConnectionRequest):
    """Disconnect an input from an output."""


class ChainRequest(EditRequest):
    """Give a route of a scene another chain of filters."""

    route: Number = Field(description="the place of a route in its scene; the first is 0")
    through: Links = Field(description="a list of filters, each with its settings, and names of chains")


class BurstRequest(EditRequest):
    """Give a scene another burst: the bank selects and program changes that a recall sends."""

    burst: Tables = Field(description="a list of steps")


class LinesRequest(EditRequest):
    """Give a scene other play lines."""

    play: Tables = Field(description="a list of lines, as in the rig file")


class FactsRequest(EditRequest):
    """Give a scene another cue, text, tempo or transposition."""

    facts: Facts = Field(description="values by key, as in the rig file; null takes a key away")


class LearnRequest(Request):
    """Add a control to the rig, and save it unless other edits are unsaved."""

    control: Facts = Field(description="a control as in the rig file")


class SaveRequest(Request):
    """Write the current rig to its file."""

    choice: Literal["playing", "file"] | None = Field(None, description='"playing" or "file"')


class UndoSaveRequest(Request):
    """Play and save an earlier version of the file."""

    version: Number | None = Field(None, description="a version's whole number")


class HistoryRequest(Request):
    """The versions of the file."""


class UnsavedRequest(Request):
    """What differs between the current rig and its file, or one of its versions."""

    version: Number | None = Field(None, description="a version's whole number")


class BackupRequest(Request):
    """The current rig as text, or as SysEx to an output."""

    output: Name | None = Field(None, description="the name of an output, or null for the text")


class RestoreRequest(Request):
    """Play this rig instead of the current one."""

    text: str = Field(max_length=LONGEST_REQUEST, description="a whole rig file as text")
    where: FilePath = Field(description="where the text comes from, for the answer")


# Instruments


class PlayTestNoteRequest(Request):
    """A test note to an instrument."""

    instrument: Name = Field(description="the name of an instrument")


class AuditionRequest(Request):
    """A short phrase with one sound of an instrument."""

    instrument: Name = Field(description="the name of an instrument")
    sound: Name = Field(description="the name of a sound of the instrument")


class IdentifyRequest(Request):
    """Ask every device at these outputs who it is; without outputs, at all of them."""

    outputs: list[Name] = Field([], max_length=_LISTED, description="a list of names of outputs")
    seconds: Seconds = Field(0.5, description=_SECONDS)


class ReceiveDumpRequest(Request):
    """Receive a dump, asking for it first or not."""

    input: Name = Field(description="the name of an input")
    instrument: Name | None = Field(None, description="the name of an instrument whose request the rig gives")
    request: str | None = Field(None, max_length=_MOST_BYTES, description=_MESSAGE)
    output: Name | None = Field(None, description="the name of the output that the request is sent to")
    silence: Seconds = Field(2.0, description=_SECONDS)
    wait: Seconds = Field(60.0, description=_SECONDS)


class SendDumpRequest(Request):
    """Send a dump."""

    output: Name = Field(description="the name of an output")
    messages: list[str] = Field(min_length=1, description=f"a list of messages, each {_MESSAGE}")
    first: int = Field(1, alias="from", ge=1, description="the number of the first message to send, counted from 1")
    chunk: int | None = Field(None, ge=1, le=_MOST_BYTES, description="a number of bytes above 0")
    gap: Seconds = Field(0.0, description=_SECONDS)
    handshake: bool = Field(False, description="true to wait for the instrument's answers, else false")
    answers: Name | None = Field(None, description="the name of the input where the instrument answers")


# The table

#: what a browser must be paired for to ask this; "shell": it is not passed on for any browser
Role = Literal["view", "show", "operate", "shell"]
#: a browser's requests of one lane wait for each other, and for no other lane
Lane = Literal["panic", "show", "bench"]
#: "loop": answered in the loop; "worker": its answer is made and written by a worker thread, one at a time; "paced": so
#: too, and then comes a rest, since it is work that every asker causes again; "connection": it takes the rest of its
#: connection
Cost = Literal["loop", "worker", "paced", "connection"]
#: "one": the panel asks this for the browser that asked; else one answer serves all browsers, until the rig or a mute
#: changes ("revision") or for a second
Serves = Literal["one", "revision", "second"]


class Row(NamedTuple):
    """One request.

    `audible`: whether it sends to the outputs beside the show; that is refused while another engine is in charge.
    """

    model: type[Request]
    role: Role
    lane: Lane = "bench"
    cost: Cost = "loop"
    audible: bool = False
    serves: Serves = "one"


#: by "do", or by "do" and "what" with a space between
TABLE: Final[Mapping[str, Row]] = {
    "scene": Row(RecallRequest, "show", "show"),
    "next": Row(NextRequest, "show", "show"),
    "back": Row(BackRequest, "show", "show"),
    "first": Row(FirstRequest, "show", "show"),
    "entry": Row(EntryRequest, "show", "show"),
    "next song": Row(NextSongRequest, "show", "show"),
    "back song": Row(BackSongRequest, "show", "show"),
    "song": Row(SongRequest, "show", "show"),
    "transpose": Row(TransposeRequest, "operate", "show"),
    "setlist": Row(SetlistRequest, "operate", "show"),
    "panic": Row(PanicRequest, "show", "panic"),
    "resend": Row(ResendRequest, "operate", "show"),
    "tap": Row(TapRequest, "operate", "show"),
    "clock": Row(ClockRequest, "operate", "show"),
    "timecode": Row(TimecodeRequest, "operate", "show"),
    "mute": Row(MuteRequest, "operate", "show"),
    "unmute": Row(UnmuteRequest, "operate", "show"),
    "handover": Row(HandoverRequest, "operate", "show"),
    "status": Row(StatusRequest, "view", serves="second"),
    "watch": Row(WatchRequest, "shell", cost="connection"),
    "follow": Row(FollowRequest, "shell", cost="connection"),
    "rig": Row(RigRequest, "view", cost="worker", serves="revision"),
    "filters": Row(FiltersRequest, "view", cost="worker", serves="revision"),
    "explain": Row(ExplainRequest, "view", cost="paced", serves="revision"),
    "ports": Row(PortsRequest, "view", serves="second"),
    "differences": Row(DifferencesRequest, "view", cost="paced", serves="revision"),
    "keep": Row(KeepRequest, "shell"),
    "scenes list": Row(ListScenesRequest, "operate"),
    "scenes copy": Row(CopySceneRequest, "operate"),
    "scenes rename": Row(RenameSceneRequest, "operate"),
    "scenes renumber": Row(RenumberSceneRequest, "operate"),
    "scenes move": Row(MoveSceneRequest, "operate"),
    "scenes delete": Row(DeleteSceneRequest, "operate"),
    "scenes store": Row(StoreSceneRequest, "operate"),
    "scenes undo": Row(UndoRequest, "operate"),
    "scenes redo": Row(RedoRequest, "operate"),
    "edit join": Row(JoinRequest, "operate"),
    "edit part": Row(PartRequest, "operate"),
    "edit chain": Row(ChainRequest, "operate"),
    "edit burst": Row(BurstRequest, "operate"),
    "edit lines": Row(LinesRequest, "operate"),
    "edit facts": Row(FactsRequest, "operate"),
    "edit undo": Row(UndoRequest, "operate"),
    "edit redo": Row(RedoRequest, "operate"),
    "learn": Row(LearnRequest, "shell"),
    "save": Row(SaveRequest, "operate"),
    "save undo": Row(UndoSaveRequest, "operate"),
    "save history": Row(HistoryRequest, "operate"),
    "save diff": Row(UnsavedRequest, "operate", cost="worker"),
    "backup": Row(BackupRequest, "shell"),
    "restore": Row(RestoreRequest, "shell"),
    "test note": Row(PlayTestNoteRequest, "operate", audible=True),
    "audition": Row(AuditionRequest, "shell", audible=True),
    "identify": Row(IdentifyRequest, "operate", audible=True),
    "sysex identify": Row(IdentifyRequest, "shell", cost="connection", audible=True),
    "sysex receive": Row(ReceiveDumpRequest, "shell", cost="connection"),
    "sysex send": Row(SendDumpRequest, "shell", cost="connection", audible=True),
}

#: what a browser asks the panel itself, which answers it in place of the engine
OF_THE_PANEL: Final = "pairings"

_WORDS: Final = ("do", "what")
_FIELDS: Final = 50  # of a request; for each that is unknown, validation takes time in which no music plays


class RequestError(Exception):
    """A request that cannot be read: `code`, and a sentence that names the field at fault and what it may be."""

    def __init__(self, code: AnswerCode, text: str) -> None:
        super().__init__(text)
        self.code = code


def row_of(request: Facts) -> Row:
    """The row of a request as it came. Raises RequestError if there is none."""
    return TABLE[_name_of(request)]


def read_request(request: object) -> tuple[Row, Request]:
    """A request as it came, checked. Raises RequestError."""
    if not isinstance(request, dict):
        raise RequestError(AnswerCode.BAD_REQUEST, "a request is one JSON object on a line")
    if len(request) > _FIELDS:
        raise RequestError(AnswerCode.BAD_REQUEST, f"a request has at most {_FIELDS} fields; nothing was done")
    name = _name_of(request)
    row = TABLE[name]
    named = _WORDS if request.get("what") is None or name == f"{request['do']} {request['what']}" else _WORDS[:1]
    try:
        return row, row.model.model_validate({key: value for key, value in request.items() if key not in named})
    except ValidationError as fault:
        raise RequestError(AnswerCode.BAD_REQUEST, _first_error(name, row.model, fault)) from None


def _name_of(request: Facts) -> str:
    do, what = request.get("do"), request.get("what")
    if isinstance(what, str) and f"{do} {what}" in TABLE:
        return f"{do} {what}"
    parts = [name.removeprefix(f"{do} ") for name in TABLE if name.startswith(f"{do} ")]
    if isinstance(do, str) and do in TABLE and (what is None or not parts):
        return do
    if parts:
        raise RequestError(AnswerCode.BAD_REQUEST, f'{do}: "what" must be {_listed(parts)}')
    raise RequestError(AnswerCode.UNKNOWN_REQUEST, f"unknown request {do!r}; there are: {', '.join(TABLE)}")


def _first_error(name: str, model: type[Request], fault: ValidationError) -> str:
    error = fault.errors(include_url=False, include_context=False, include_input=False)[0]
    if not error["loc"]:
        return f"{name}: a field's name contains half a character (a lone surrogate), which no text can hold"
    field = str(error["loc"][0])
    allowed = {each.alias or key: each.description for key, each in model.model_fields.items()}
    if error["type"] == "extra_forbidden":
        return f'{name} takes no "{field}"' + (f"; it takes {_listed(allowed)}" if allowed else "")
    if error["type"] == "missing":
        return f'{name} needs "{field}": {allowed[field]}'
    return f'{name}: "{field}" must be {allowed[field]}'


def _listed(words: Iterable[str]) -> str:
    *others, last = words
    return f"{', '.join(others)} or {last}" if others else last


# Answers


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
    """The scenes: {"number", "name", "at": place in time code or None, "now": whether it is in force}."""

    scenes: list[Facts]


class VersionsAnswer(Answer):
    """The versions of the rig file, newest first: {"number", "time", "bytes"}."""

    versions: list[Facts]


class BackupAnswer(Answer):
    """The text of the current rig, and its device number."""

    rig: str
    device: int


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


class SentAnswer(Answer):
    """A dump that went out, or part of it. Counts, and seconds that the rest would take."""

    messages: int
    of: int
    bytes: int
    of_bytes: int
    left_s: float
