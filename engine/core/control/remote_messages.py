"""Reads what another machine commands by MIDI: show control, machine control, programs with banks, our own SysEx.

A message that is malformed, or addressed to another device, is not a command. DEVELOPERS.md describes our own SysEx
byte by byte. It uses the non-commercial id 7D (MIDI 1.0 p. 34): `F0 7D 62 6C`, version, device, command, data,
checksum, `F7`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from engine.midi.controllers import BANK_MSB, BANKS
from engine.midi.kinds import CONTROLLER, PROGRAM, SYSEX, SYSEX_END, is_whole
from engine.midi.machine_control import read_machine_control
from engine.midi.seven_bit_packing import pack
from engine.midi.show_control import ALL_CALL, SHOW_FORMATS, plain_cue, read_show_control
from engine.rig.models.control import RemoteControl

_VERSION: Final = 0x01
HEAD: Final = bytes((SYSEX, 0x7D, 0x62, 0x6C, _VERSION))
SET_ROUTE: Final = 0x07
BLOCK: Final = 0x0A  # the command of a block of a backup, in either direction
LONGEST_REQUEST: Final = 256  # bytes on the cable; that is a block of a backup, and nothing is asked for in more

_SHORTEST: Final = len(HEAD) + 4  # device, command, checksum, F7
_SONG_SELECT: Final = 0xF3
# a receiver without timed transitions takes TIMED_GO as GO (RP-002 4.3, from memory); what is not here acts on
# settings, macros and outputs of other gear, and passes like any SysEx
_SHOW: Final = {
    "go": "go",
    "timed_go": "go",
    "load": "load",
    "go_off": "go off",
    "stop": "stop",
    "resume": "resume",
}
# our own time code reaches a place at once, so a deferred play need not wait; a pause is a stop
_MACHINE: Final = {"play": "play", "deferred play": "play", "stop": "halt", "pause": "halt"}

_SCENE: Final = 0x01
_WITHOUT_DATA: Final = {
    0x02: "next",
    0x03: "back",
    0x04: "panic",
    0x05: "ask scene",
    0x06: "ask routing",
    0x08: "ask backup",
}
_ANSWER: Final = 0x41
LONGEST_REPLIED: Final = 210  # bytes of a text; packed, and with what is around them, no more than LONGEST_REQUEST
_CUT: Final = "…".encode()
_SCENE_REPLY: Final = 0x45
_ROUTING_REPLY: Final = 0x46


@dataclass(frozen=True)
class RemoteSettings:
    """Who may command a rig by MIDI, and how; inputs and outputs by index.

    `device`: our device id, 0 to 111, or all devices (7F); `programs`: whether program changes recall scenes;
    `reply_to`: the outputs that are answered; `formats`: of show control, those that are obeyed; `lists`: the cue lists
    that are open, None for all.
    """

    inputs: frozenset[int] = frozenset()
    device: int = ALL_CALL
    programs: bool = False
    reply_to: tuple[int, ...] = ()
    formats: frozenset[int] = frozenset().union(*SHOW_FORMATS.values())
    lists: frozenset[str] | None = None


def remote_settings(remote: RemoteControl | None, inputs: Sequence[str], outputs: Sequence[str]) -> RemoteSettings:
    """What a rig's [remote] says; nobody may command one without it."""
    if remote is None:
        return RemoteSettings()
    return RemoteSettings(
        frozenset(inputs.index(name) for name in remote.inputs),
        remote.device,
        remote.programs,
        tuple(outputs.index(name) for name in dict.fromkeys(remote.to)),
        frozenset().union(*(SHOW_FORMATS[name] for name in remote.formats)),
        frozenset(map(plain_cue, remote.lists)) if remote.lists is not None else None,
    )


class RouteRequest(NamedTuple):
    """Connect or disconnect an input and an output, given by their places in the rig file; the first of each is 1."""

    input: int
    output: int
    on: bool


class RemoteRequest(NamedTuple):
    """What is asked for.

    "scene": recall `scene`.
    "next", "back", "panic", "ask scene", "ask routing", "ask backup": what the words say.
    "go", "load", "go off", "stop", "resume": what show control asks; `data` is the cue, None if it names none.
    "play", "halt", "locate": the time code; `data` is the place to locate, such as "01:02:03:04".
    "bank": a bank select for the next program change; there is nothing to do yet.
    "route": `data` is a `RouteRequest`.
    "block": `data` is a whole message for `engine.core.control.rig_dump.DumpCollector`.
    """

    do: str
    scene: int | None = None
    data: str | bytes | RouteRequest | None = None


class RemoteReader:
    """Reads the commands for one rig. It remembers the bank that each channel of each source has selected.

    `inputs`: those that may command.
    """

    def __init__(self, settings: RemoteSettings) -> None:
        self._settings, self.inputs = settings, settings.inputs
        self.banks: dict[tuple[int, int], tuple[int, int]] = {}  # source and channel -> high and low byte

    def adopt(self, settings: RemoteSettings) -> None:
        """The settings of an edited rig; the banks stay selected."""
        self._settings, self.inputs = settings, settings.inputs

    def read(self, source: int, message: bytes) -> RemoteRequest | None:
        """What a whole message asks for; None if it asks nothing of this rig. `source` is the index of its input."""
        if message[:1] == bytes((SYSEX,)):
            if len(message) > LONGEST_REQUEST:
                return None
            return self._read_show(message) or self._read_machine(message) or self._read_own(message)
        return self._read_number(source, message) if self._settings.programs and is_whole(message) else None

    def _is_for_us(self, device: int) -> bool:
        return device in (self._settings.device, ALL_CALL)

    def _read_number(self, source: int, message: bytes) -> RemoteRequest | None:
        """Programs and songs count from 1, and a bank has 128 programs (MIDI 1.0 p. 13, 14, 18)."""
        status, cable = message[0] & 0xF0, (source, message[0] & 0x0F)
        if message[0] == _SONG_SELECT:
            return RemoteRequest("scene", message[1] + 1)
        high, low = self.banks.get(cable, (0, 0))
        if status == PROGRAM:
            return RemoteRequest("scene", (high << 7 | low) * 128 + message[1] + 1)
        if status != CONTROLLER or message[1] not in BANKS:
            return None
        # a high byte sets the low byte to 0 (MIDI 1.0 p. 12)
        self.banks[cable] = (message[2], 0) if message[1] == BANK_MSB else (high, message[2])
        return RemoteRequest("bank")

    def _read_show(self, message: bytes) -> RemoteRequest | None:
        """A cue without a list is meant for every open list (RP-002 4.3, from memory)."""
        said, settings = read_show_control(message), self._settings
        if said is None or not self._is_for_us(said.device) or said.format not in settings.formats:
            return None
        if settings.lists is not None and said.cue_list is not None and plain_cue(said.cue_list) not in settings.lists:
            return None
        do = _SHOW.get(said.command)
        cue = plain_cue(said.cue) if said.cue is not None else None
        return RemoteRequest(do, None, cue) if do is not None else None

    def _read_machine(self, message: bytes) -> RemoteRequest | None:
        said = read_machine_control(message)
        if said is None or not self._is_for_us(said.device):
            return None
        if said.target is not None:
            return RemoteRequest("locate", None, str(said.target))
        do = _MACHINE.get(said.command)
        return None if do is None else RemoteRequest(do)

    def _read_own(self, message: bytes) -> RemoteRequest | None:
        said = read_own(message)
        if said is None or not self._is_for_us(said.device):
            return None
        command, data = said.command, said.data
        if command == _SCENE and len(data) == 3:
            return RemoteRequest("scene", number(data))
        if command == SET_ROUTE:
            return _read_route(data)
        if command == BLOCK:
            return RemoteRequest("block", None, message)
        return RemoteRequest(_WITHOUT_DATA[command]) if command in _WITHOUT_DATA and not data else None


def _read_route(data: bytes) -> RemoteRequest | None:
    if len(data) != 5 or data[4] > 1:
        return None
    route = RouteRequest(number(data[:2]), number(data[2:4]), bool(data[4]))
    return RemoteRequest("route", None, route) if route.input and route.output else None


# Our own SysEx


class OwnMessage(NamedTuple):
    """One message of ours."""

    device: int
    command: int
    data: bytes


def own(device: int, command: int, data: bytes = b"") -> bytes:
    """The message of these; `data` is 7-bit already."""
    body = bytes((device, command)) + data
    return HEAD + body + bytes((_checksum(body), SYSEX_END))


def read_own(message: bytes) -> OwnMessage | None:
    """The parts of one of our own messages; None if it is another message, or malformed."""
    if len(message) < _SHORTEST or not message.startswith(HEAD) or message[-1] != SYSEX_END:
        return None
    body, checksum = message[len(HEAD) : -2], message[-2]
    if not body.isascii() or checksum != _checksum(body):
        return None
    return OwnMessage(body[0], body[1], body[2:])


def _checksum(body: bytes) -> int:
    """The checksum: it makes the sum of the bytes from the version on a multiple of 128."""
    return -(_VERSION + sum(body)) & 0x7F


def seven(value: int, size: int) -> bytes:
    """A number in `size` 7-bit bytes, the lowest first. Raises ValueError if it does not fit."""
    if not 0 <= value < 1 << 7 * size:
        raise ValueError(f"a number of 0 to {(1 << 7 * size) - 1}")
    return bytes(value >> 7 * place & 0x7F for place in range(size))


def number(data: bytes) -> int:
    """The number that `seven` wrote."""
    return sum(byte << 7 * place for place, byte in enumerate(data))


# Replies, which are not commands to any Bayleaf


def scene_reply(device: int, scene: int | None, name: str = "") -> bytes:
    """The scene in force; None if there is none yet."""
    return own(device, _SCENE_REPLY, seven(scene or 0, 3) + _packed(name))


def routing_reply(device: int, scene: int | None, pairs: Iterable[tuple[int, int]]) -> bytes:
    """The routes of the scene in force, each an input and an output by their places in the rig file, from 1."""
    ends = b"".join(seven(source, 2) + seven(target, 2) for source, target in pairs)
    return own(device, _ROUTING_REPLY, seven(scene or 0, 3) + ends)


def answer_reply(device: int, command: int, done: bool, text: str) -> bytes:
    """What became of a request: its command, whether it was done, and a sentence."""
    return own(device, _ANSWER, bytes((command, done)) + _packed(text))


def _packed(text: str) -> bytes:
    """Packed text, the beginning of a long one: a note waits for a SysEx, so a reply is no longer than a block."""
    raw = text.encode()
    if len(raw) > LONGEST_REPLIED:
        raw = raw[: LONGEST_REPLIED - len(_CUT)].decode(errors="ignore").encode() + _CUT
    return pack(raw)
