"""Random messages, most of them nearly commands, and a check of what a command is, from the layouts alone."""

import random
import re

from engine.core.control.remote_messages import RouteRequest, own
from engine.midi.machine_control import MachineControl
from engine.midi.show_control import ShowControl
from engine.midi.timecode import RATES, read_label
from tests.support.remote_writing import machine_control, plain_request, recall_request, route_request, show_control

US = 5
PLAIN = ("next", "back", "panic", "ask scene", "ask routing", "ask backup")

NUMBER = rb"[0-9]+(?:\.[0-9]+)*"
CUE = rb"(?:" + NUMBER + rb"(?:(?:\x00" + NUMBER + rb"){0,2}|\x00" + NUMBER + rb"\x00|\x00\x00?))?"
TIME = (
    rb"(?:[\x00-\x17\x20-\x37\x40-\x57\x60-\x77])[\x00-\x3b\x40-\x7b][\x00-\x3b]"
    rb"(?:[\x00-\x1d][\x00-\x63]|[\x20-\x3d][\x00-\x7f])"
)
SHOW = re.compile(
    rb"\xf0\x7f[\x05\x7f]\x02[\x01\x10-\x1f\x7f]"
    rb"(?:(?:[\x01-\x03\x0b]|\x04[\x00-\x7f]{5})" + CUE + rb"|\x05(?=[0-9])" + CUE + rb")\xf7",
    re.DOTALL,
)
MACHINE = re.compile(rb"\xf0\x7f[\x05\x7f]\x06(?:[\x01\x02\x03\x09]|\x44\x06\x01" + TIME + rb")\xf7", re.DOTALL)
OWN = re.compile(
    rb"\xf0\x7d\x62\x6c(\x01[\x05\x7f](?:\x01[\x00-\x7f]{3}|[\x02-\x06\x08]|\x07(?!\x00\x00|..\x00\x00)[\x00-\x7f]{4}[\x00\x01]"
    rb"|\x0a[\x00-\x7f]*)[\x00-\x7f])\xf7",
    re.DOTALL,
)


def is_in_order(message: bytes) -> bool:
    """Whether a SysEx is a request, judged by the layouts alone."""
    if SHOW.fullmatch(message):
        return len(message) <= 128
    if MACHINE.fullmatch(message):
        return len(message) == 6 or message[10] & 0x1F < (24, 25, 30, 30)[message[7] >> 5]
    found = OWN.fullmatch(message)
    return found is not None and sum(found[1]) % 128 == 0


def random_message(chance: random.Random, valid: list[bytes]) -> bytes:
    """Noise, noise after a valid start, or a valid message with a few bytes changed, lost, doubled or added."""
    kind = chance.random()
    if kind < 0.2:
        return chance.randbytes(chance.randrange(24))
    message = bytearray(chance.choice(valid))
    if kind < 0.4:
        start = chance.randrange(1, len(message))
        return bytes(message[:start]) + bytes(chance.choices(range(128), k=chance.randrange(12))) + b"\xf7"
    for _ in range(chance.randrange(3)):
        place = chance.randrange(len(message))
        message[place : place + chance.randrange(2)] = bytes(chance.choices(range(256), k=chance.randrange(2)))
        if not message:
            break
    return bytes(message)


def valid_messages() -> list[bytes]:
    """At least one command of every kind for device US."""
    cues = (("go", "61.5", "2", "3"), ("stop",), ("resume", "7"), ("load", "61"), ("go_off", "61"))
    valid = [show_control(ShowControl(US, 0x10, *said)) for said in cues]
    valid.append(show_control(ShowControl(US, 0x10, "timed_go", "61", settings=bytes((1, 2, 3, 4, 5)))))
    valid += [
        machine_control(MachineControl(US, "play")),
        machine_control(MachineControl(US, "locate", read_label("01:02:03:04", RATES["30"]))),
    ]
    valid += [recall_request(US, 61), route_request(US, RouteRequest(2, 3, True)), own(US, 0x0A, b"\1\2\3\4")]
    valid += [plain_request(US, do) for do in PLAIN]
    return valid
