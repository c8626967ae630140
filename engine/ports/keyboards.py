"""Inputs on computer keyboards and page-turn pedals: Linux input devices, read with the library evdev.

A keyboard that a rig names is grabbed: while it is open, nothing else on this computer hears it. A device that the rig
does not name is never opened. Keyboards are found in sysfs, which anybody may read, so that a missing permission can be
told from a missing pedal.
"""

import errno
import struct
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Protocol

from engine.midi.key_messages import LAST_CODE, key_message
from engine.ports.port import MessagesLost, PortError, PortGone
from engine.ports.port_names import resolve

# Linux: include/uapi/linux/input-event-codes.h
_EV_SYN, _EV_KEY, _SYN_DROPPED = 0x00, 0x01, 3
_UP, _DOWN = 0, 1  # a key that repeats itself has 2
_LONG: Final = 8 * struct.calcsize("l")  # bits
_LOOK_AGAIN: Final = 2_000_000  # ns; no foot is faster, and each look costs as much as a message
_NODES: Final = Path("/sys/class/input")
_DEVICES: Final = Path("/dev/input")


class KeyEvent(Protocol):
    """One event of a device."""

    type: int
    code: int
    value: int


class KeyDevice(Protocol):
    """What is needed of evdev's InputDevice; `fd` is its descriptor."""

    fd: int

    def grab(self) -> None:
        """From now on nobody else hears it."""

    def read(self) -> Iterable[KeyEvent]:
        """What has arrived; BlockingIOError if nothing has."""

    def close(self) -> None:
        """Close it; it is heard by others again."""


@dataclass(frozen=True)
class Keyboard:
    """One keyboard that is plugged in: the name of its first node in /dev/input, and all its nodes that have keys."""

    name: str
    nodes: tuple[str, ...]


class _WholeStream:
    """Keys come one by one: nothing is ever broken or half there."""

    repairs = 0
    open = False


class KeyboardInput:
    """An InputPort on one keyboard. Its messages are those of `engine.midi.key_messages`."""

    def __init__(self, name: str, devices: list[KeyDevice]) -> None:
        self.name = name
        self.stream = _WholeStream()
        self._devices = devices
        self._lost = False
        self._look_at = 0

    @property
    def descriptors(self) -> tuple[int, ...]:
        """See WatchableInput."""
        return tuple(device.fd for device in self._devices)

    def poll(self) -> list[bytes]:
        """See InputPort."""
        now = time.monotonic_ns()
        if now < self._look_at:
            return []
        self._look_at = now + _LOOK_AGAIN
        if self._lost:
            self._lost = False
            raise MessagesLost(f"{self.name}: the system's queue of this keyboard was full")
        messages: list[bytes] = []
        for device in self._devices:
            try:
                events = [*device.read()]
            except BlockingIOError:
                continue
            except OSError as fault:
                raise PortGone(f'"{self.name}" was unplugged ({fault.strerror})') from None
            messages += self._changes(events)
        return messages

    def _changes(self, events: list[KeyEvent]) -> list[bytes]:
        """The keys that went down or up; a key that repeats itself did neither."""
        self._lost = self._lost or any(each.type == _EV_SYN and each.code == _SYN_DROPPED for each in events)
        return [
            key_message(each.code, each.value == _DOWN)
            for each in events
            if each.type == _EV_KEY and each.code <= LAST_CODE and each.value in (_UP, _DOWN)
        ]

    def close(self) -> None:
        """See InputPort."""
        devices, self._devices = self._devices, []
        for device in devices:
            device.close()


def keyboards(nodes: Path = _NODES) -> list[Keyboard]:
    """The keyboards that are plugged in, those of this computer itself too; of one name they are #1, #2 and so on."""
    found: dict[str, list[tuple[str, str]]] = {}
    for node in sorted(nodes.glob("event*"), key=lambda path: (len(path.name), path.name)):
        facts = node / "device"
        if _has_keys(_text(facts / "capabilities" / "key")):
            found.setdefault(_gear(facts, node.name), []).append((_text(facts / "name"), node.name))
    names = _numbered([parts[0][0] for parts in found.values()])
    nodes_of = (tuple(node for _, node in parts) for parts in found.values())
    return [Keyboard(name, own) for name, own in zip(names, nodes_of, strict=True)]


def open_keyboard(
    pattern: str,
    nodes: Path = _NODES,
    devices: Path = _DEVICES,
    open_device: Callable[[str], KeyDevice] | None = None,
) -> KeyboardInput:
    """Open the one keyboard whose name this pattern matches, and grab it. Raises PortError.

    `nodes`, `devices`: where the system lists its input devices, and has them; `open_device`: evdev's if not given.
    """
    open_device = open_device or _evdev()  # before all else: importing it while music plays would take long
    listed = keyboards(nodes)
    if not listed:
        raise PortError(f'no keyboard matches "{pattern}"; none was found')
    name = resolve(pattern, [each.name for each in listed])
    keyboard = next(each for each in listed if each.name == name)
    opened: list[KeyDevice] = []
    try:
        for node in keyboard.nodes:
            opened.append(open_device(str(devices / node)))
            opened[-1].grab()
    except OSError as fault:
        for device in opened:
            device.close()
        raise PortError(f'the keyboard "{name}" cannot be opened: {_why(fault)}') from None
    return KeyboardInput(name, opened)


def _evdev() -> Callable[[str], Any]:
    try:
        from evdev import InputDevice
    except ImportError:
        raise PortError(
            "keyboards need Linux and the library evdev, which is not installed: pip install 'bayleaf[keyboards]'"
        ) from None
    return InputDevice


def _why(fault: OSError) -> str:
    if fault.errno in (errno.EACCES, errno.EPERM):
        return "you do not have permission; join the group input (sudo usermod -aG input $USER) and log in again"
    if fault.errno == errno.EBUSY:
        return "another program has grabbed it"
    return fault.strerror or str(fault)


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:  # unplugged meanwhile, or it has none
        return ""


def _has_keys(bits: str) -> bool:
    """Whether a device has keys, by its capabilities: words in hexadecimal of a long's bits each, the highest first."""
    words = bits.split()
    return any(int(word, 16) for word in words[-((LAST_CODE + 1) // _LONG) :])


def _numbered(names: list[str]) -> list[str]:
    """The names, each once."""
    return [
        f"{name} #{names[: place + 1].count(name)}" if names.count(name) > 1 else name
        for place, name in enumerate(names)
    ]


def _gear(facts: Path, node: str) -> str:
    """What tells one piece of gear from another: several nodes of one keyboard share it.

    The place where it is plugged in without the part of it that this node is, or the address of a wireless one. (A
    wireless keyboard's place is that of the computer's own radio, and devices that programs make may share one.)
    """
    place, part, _ = _text(facts / "phys").rpartition("/")
    address = _text(facts / "uniq")
    return f"{place} {address}" if part or address else node
