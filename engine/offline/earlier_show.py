"""Puts players, hands, feet and instruments where they were when a recording began that reaches no further back."""

from typing import NamedTuple

from engine.core.engine import Engine
from engine.core.show_standing import Standing, checked, go_there
from engine.midi.controllers import BANKS
from engine.midi.kinds import CONTROLLER, PROGRAM, is_whole


class Earlier(NamedTuple):
    """What was in force already: a message that came "in" or went "out" at a port, or a place of the "show"."""

    way: str
    port: str = ""
    message: bytes = b""
    place: Standing | None = None


def read_earlier(found: object) -> tuple[Earlier, ...]:
    """As a recording has them (see `engine/live/recording_files`). Raises ValueError."""
    if not isinstance(found, list):
        raise ValueError("before is a list")
    return tuple(map(_earlier, found))


def _earlier(found: object) -> Earlier:
    match found:
        case ["show", place]:
            return Earlier("show", place=checked(place))
        case ["in" | "out" as way, str(port), str(digits)]:
            message = bytes.fromhex(digits)
            if is_whole(message):
                return Earlier(way, port, message)
    raise ValueError('before has ["in" or "out", PORT, MESSAGE] and ["show", PLACE]')


def take_up(engine: Engine, now: int, each: Earlier) -> None:
    """Let it be in force; what that sends, nobody gets. A control's message is left out: it has commanded already."""
    if each.place is not None:
        go_there(engine, now, each.place)
    elif each.way == "in" and each.port in engine.inputs:
        source = engine.inputs.index(each.port)
        board = engine.state.boards[source]
        if board is None or not board.owns(each.message, engine.state.in_force[source]):
            engine.receive(now, source, each.message)
    elif each.way == "out" and each.port in engine.outputs and _chooses(each.message):
        engine.state.cables[engine.outputs.index(each.port)].select(now, (each.message,), [])


def _chooses(message: bytes) -> bool:
    kind = message[0] & 0xF0
    return kind == PROGRAM or (kind == CONTROLLER and message[1] in BANKS)
