"""One table of all requests: who may ask what and what it costs; and how a request is read by it."""

from collections.abc import Iterable, Mapping
from typing import Final, Literal, NamedTuple

from pydantic import ValidationError

from engine.answer_codes import AnswerCode
from engine.protocol.edit_requests import (
    BurstRequest,
    ChainRequest,
    CopySceneRequest,
    DeleteSceneRequest,
    FactsRequest,
    JoinRequest,
    LearnRequest,
    LinesRequest,
    ListScenesRequest,
    MoveSceneRequest,
    PartRequest,
    RedoRequest,
    RenameSceneRequest,
    RenumberSceneRequest,
    SplitRequest,
    StoreSceneRequest,
    UndoRequest,
)
from engine.protocol.fields import Facts, Request
from engine.protocol.gear_requests import (
    AuditionRequest,
    DumpReceiveRequest,
    DumpSendRequest,
    IdentifyRequest,
    PlayTestNoteRequest,
    ReceiveDumpRequest,
    SendDumpRequest,
    TryControlRequest,
    TryDisplayRequest,
    TryTallyRequest,
)
from engine.protocol.look_requests import (
    DifferencesRequest,
    ExplainRequest,
    FiltersRequest,
    FollowRequest,
    KeepAtHomeRequest,
    KeepRequest,
    PortsRequest,
    RigRequest,
    StatusRequest,
    WatchRequest,
)
from engine.protocol.part_requests import (
    AddSceneRequest,
    LearnedRequest,
    ListenRequest,
    MovePartRequest,
    PutValuesRequest,
    RemovePartRequest,
    RenamePartRequest,
    SoundsRequest,
)
from engine.protocol.save_requests import (
    BackupRequest,
    HistoryRequest,
    ReplaceRigRequest,
    RestoreRequest,
    SaveAsRequest,
    SaveRequest,
    UndoSaveRequest,
    UnsavedRequest,
)
from engine.protocol.show_requests import (
    BackRequest,
    BackSongRequest,
    ClockRequest,
    EntryRequest,
    FirstRequest,
    HandoverRequest,
    MuteRequest,
    NextRequest,
    NextSongRequest,
    PanicRequest,
    RecallRequest,
    ResendRequest,
    SetlistRequest,
    SongRequest,
    TapRequest,
    TimecodeRequest,
    TransposeRequest,
    UnmuteRequest,
)

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
    "listen": Row(ListenRequest, "operate"),
    "learned": Row(LearnedRequest, "operate"),
    "differences": Row(DifferencesRequest, "view", cost="paced", serves="revision"),
    "keep": Row(KeepRequest, "shell"),
    "keep home": Row(KeepAtHomeRequest, "operate"),
    "scenes list": Row(ListScenesRequest, "operate"),
    "scenes add": Row(AddSceneRequest, "operate"),
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
    "edit split": Row(SplitRequest, "operate"),
    "edit burst": Row(BurstRequest, "operate"),
    "edit lines": Row(LinesRequest, "operate"),
    "edit facts": Row(FactsRequest, "operate"),
    "edit undo": Row(UndoRequest, "operate"),
    "edit redo": Row(RedoRequest, "operate"),
    "edit values": Row(PutValuesRequest, "operate"),
    "edit rig": Row(ReplaceRigRequest, "operate"),
    "edit rename": Row(RenamePartRequest, "operate"),
    "edit remove": Row(RemovePartRequest, "operate"),
    "edit move": Row(MovePartRequest, "operate"),
    "edit sounds": Row(SoundsRequest, "operate", cost="worker"),
    "learn": Row(LearnRequest, "shell"),
    "save": Row(SaveRequest, "operate"),
    "save as": Row(SaveAsRequest, "operate"),
    "save undo": Row(UndoSaveRequest, "operate"),
    "save history": Row(HistoryRequest, "operate"),
    "save diff": Row(UnsavedRequest, "operate", cost="worker"),
    "backup": Row(BackupRequest, "operate"),
    "restore": Row(RestoreRequest, "shell"),
    "test note": Row(PlayTestNoteRequest, "operate", audible=True),
    "audition": Row(AuditionRequest, "operate", audible=True),
    "try control": Row(TryControlRequest, "operate", "show", audible=True),
    "try tally": Row(TryTallyRequest, "operate", audible=True),
    "try display": Row(TryDisplayRequest, "operate", audible=True),
    "identify": Row(IdentifyRequest, "operate", audible=True),
    "dump receive": Row(DumpReceiveRequest, "operate", audible=True),
    "dump send": Row(DumpSendRequest, "operate", audible=True),
    "sysex identify": Row(IdentifyRequest, "shell", cost="connection", audible=True),
    "sysex receive": Row(ReceiveDumpRequest, "shell", cost="connection"),
    "sysex send": Row(SendDumpRequest, "shell", cost="connection", audible=True),
}

#: what a browser asks the panel itself, which answers it in place of the engine
PAIRINGS: Final = "pairings"
REHEARSE: Final = "rehearse"
OF_THE_PANEL: Final = (PAIRINGS, REHEARSE)

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
