"""Keyboards without a kernel that has them: sysfs as Linux lays it out, and devices that are pipes of input events.

Sources: Linux, Documentation/input/input.rst (struct input_event), input-event-codes.h, sysfs of the input class. The
library evdev itself reads the pipes.
"""

import errno
import os
import struct
from collections.abc import Iterable
from pathlib import Path

from evdev.eventio import EventIO

EV_SYN, EV_KEY, EV_MSC = 0, 1, 4
SYN_REPORT, SYN_DROPPED = 0, 3
UP, DOWN, REPEAT = 0, 1, 2
KEYS_OF_A_PEDAL = ("PageUp", "PageDown")
_EVENT = struct.Struct("llHHi")


def events(*changes: tuple[int, int, int]) -> bytes:
    """Events as the kernel hands them over: type, code, value, each at a time of its own."""
    return b"".join(_EVENT.pack(1_700_000_000, place, *each) for place, each in enumerate(changes))


def pressed(code: int) -> bytes:
    """What a keyboard sends for one key that is held for a while: down, two repeats, up."""
    changes = [((EV_MSC, 4, 0x7004E), (EV_KEY, code, value), (EV_SYN, SYN_REPORT, 0)) for value in (1, 2, 2, 0)]
    return events(*(each for change in changes for each in change))


class PipedKeyboard(EventIO):
    """One node: what is played into it is read by evdev. It knows whether it is grabbed and whether it is closed."""

    def __init__(self) -> None:
        self.fd, self._end = os.pipe2(os.O_NONBLOCK)
        self.grabbed = self.closed = False
        self.refuses: OSError | None = None

    def play(self, data: bytes) -> None:
        """These bytes come from the kernel."""
        os.write(self._end, data)

    def grab(self) -> None:
        """See KeyDevice."""
        if self.refuses is not None:
            raise self.refuses
        self.grabbed = True

    def pull(self) -> None:
        """The device is unplugged: reading it fails as the kernel lets it fail."""
        os.close(os.dup2(os.open(os.devnull, os.O_WRONLY), self.fd))

    def close(self) -> None:
        """See KeyDevice."""
        self.closed = True
        self.grabbed = False


class Desk:
    """A computer with keyboards: a folder like /sys/class/input, and a device for each node."""

    def __init__(self, folder: Path) -> None:
        self.nodes, self.opened = folder / "input", list[str]()
        self.nodes.mkdir()
        self.devices: dict[str, PipedKeyboard] = {}

    def plug(self, name: str, codes: Iterable[int], phys: str = "", uniq: str = "") -> PipedKeyboard:
        """A node with these keys, beside those that are there."""
        node = f"event{len(self.devices)}"
        facts = self.nodes / node / "device"
        (facts / "capabilities").mkdir(parents=True)
        for file, text in (("name", name), ("phys", phys), ("uniq", uniq), ("capabilities/key", _bits(codes))):
            (facts / file).write_text(text + "\n")
        self.devices[node] = PipedKeyboard()
        return self.devices[node]

    def open(self, path: str) -> PipedKeyboard:
        """What evdev does with a path."""
        self.opened.append(path)
        device = self.devices[Path(path).name]
        if isinstance(device.refuses, PermissionError):
            raise device.refuses
        return device


def no_permission() -> PermissionError:
    """What the kernel answers to a user who may not read a device."""
    return PermissionError(errno.EACCES, "Permission denied")


def _bits(codes: Iterable[int]) -> str:
    """A bitmap as the kernel prints it: words of a long in hexadecimal, the highest first and not empty."""
    size = 8 * struct.calcsize("l")
    bits = sum(1 << code for code in set(codes))
    words = [bits >> place & ((1 << size) - 1) for place in range(0, max(bits.bit_length(), 1), size)]
    return " ".join(f"{word:x}" for word in reversed(words))
