"""Open Sound Control: scene recalls and mutes over the network, and replies with the current scene.

Off unless the rig has [osc]. Only senders in its list are obeyed. python-osc encodes and decodes.
"""

import re
import struct
from collections.abc import Iterator
from ipaddress import ip_address
from typing import Final

import trio
from pythonosc.osc_message import OscMessage, ParseError
from pythonosc.osc_message_builder import OscMessageBuilder

from engine.core.command_codec import decode
from engine.core.commands import MuteRoute, RecallScene, UnmuteRoute
from engine.live.show import Show
from engine.rig.models.control import Osc as OscSettings

Value = int | str

_ROOT: Final = "/bayleaf/"
_LARGEST: Final = 4096  # bytes of a datagram; a longer one is ignored
_DEEPEST: Final = 4  # bundles in bundles
_COMMANDS: Final = ("next", "back", "first", "panic", "resend", "tap")
_ANSWER: Final = "answer"
_NOW: Final = "now"
_ROUND: Final = 0.5  # seconds between looks at the rig
_PACE: Final = 0.001  # seconds from one datagram to the next; what a flood sends beyond that, the system drops
_RETRY: Final = 5.0  # seconds until an unavailable port is tried again

_BUNDLE: Final = b"#bundle\x00"
_BUNDLE_HEAD: Final = len(_BUNDLE) + 8  # its time tag follows: it is ignored, and a bundle is carried out at once
_SIZE: Final = struct.Struct(">i")
# integers and strings only: python-osc drops values of types that it does not know
_FORM: Final = re.compile(rb"/bayleaf/[a-z]+\x00+,[is]*\x00")


class OscServer:
    """The OSC port of one show. It follows the rig: an edit of [osc] opens, moves or closes it."""

    def __init__(self, show: Show) -> None:
        self._show = show
        self._reported = ""

    async def run(self) -> None:
        """Listen while the rig has [osc], until cancelled."""
        while True:
            settings = self._show.engine.rig.osc
            if settings is None:
                await trio.sleep(_ROUND)
                continue
            try:
                await self._listen(settings)
            except OSError as fault:
                self._report_once(f"port {settings.port} of {settings.listen} is not available: {fault.strerror}")
                await trio.sleep(_RETRY)

    def _report_once(self, text: str) -> None:
        if text != self._reported:
            self._show.tell("osc", text)
        self._reported = text

    async def _listen(self, settings: OscSettings) -> None:
        """Until the rig has other settings."""
        family = trio.socket.AF_INET if ip_address(settings.listen).version == 4 else trio.socket.AF_INET6
        with trio.socket.socket(family, trio.socket.SOCK_DGRAM) as listener:
            await listener.bind((settings.listen, settings.port))
            self._report_once(f"listens on port {settings.port} of {settings.listen}")
            while self._show.engine.rig.osc == settings:
                with trio.move_on_after(_ROUND):
                    data, sender = await listener.recvfrom(_LARGEST + 1)
                    with trio.CancelScope(shield=True):  # what is carried out is answered
                        await self._answer(listener, data, sender)
                    await trio.sleep(_PACE)

    async def _answer(self, listener: trio.socket.SocketType, data: bytes, sender: tuple[str, int]) -> None:
        for reply in self.take(data, sender[0]):
            try:
                await listener.sendto(reply, sender)
            except OSError:  # the sender has gone
                return

    def take(self, data: bytes, sender: str) -> list[bytes]:
        """Carry out one datagram of this address; the replies. A datagram with any fault is ignored."""
        settings = self._show.engine.rig.osc
        if settings is None or sender not in settings.allow:
            return []
        try:
            asked = [_read(element) for element in _elements(data)]
        except ValueError:
            return []
        replies: list[bytes] = []
        for do, values in asked:
            try:
                replies += self._obey(do, values, f"osc {sender}")
            except Exception as fault:  # it costs this message, not the show
                self._show.own_fault(f"obeying {do} by OSC from {sender}", fault)
        return replies

    def _obey(self, do: str, values: list[Value], source: str) -> list[bytes]:
        if do in (_ANSWER, _NOW):  # our own replies: answering them would never end
            return []
        if do == "state" and not values:
            return [self._now()]
        if do in _COMMANDS and not values:
            text = self._show.apply(decode(do, {}), source).text
        elif do == "scene" and len(values) == 1:
            text = self._show.apply(RecallScene(values[0]), source).text
        elif do in ("mute", "unmute") and len(values) == 1 and isinstance(values[0], str):
            text = self._show.apply((MuteRoute if do == "mute" else UnmuteRoute)(values[0]), source).text
        else:
            return [_message(_ANSWER, f"{_ROOT}{do} is not a command, or takes other values; nothing changed")]
        return [_message(_ANSWER, text), self._now()]

    def _now(self) -> bytes:
        scene = self._show.engine.scene
        return _message(_NOW, *(scene if scene is not None else (0, "")))


def _elements(data: bytes, depth: int = 0) -> Iterator[bytes]:
    """The messages of a datagram or bundle (OSC 1.0, "OSC Bundles"); ValueError if its sizes do not add up.

    Not left to python-osc, which never returns from a bundle whose element has a negative size.
    """
    if len(data) > _LARGEST or depth > _DEEPEST:
        raise ValueError("too long or too deep")
    if not data.startswith(_BUNDLE):
        yield data
        return
    if len(data) < _BUNDLE_HEAD:
        raise ValueError("a bundle without its time tag")
    place = _BUNDLE_HEAD
    while place < len(data):
        size = _SIZE.unpack(data[place : place + 4])[0] if place + 4 <= len(data) else 0
        place += 4
        if size <= 0 or size % 4 or place + size > len(data):
            raise ValueError("an element of another size")
        yield from _elements(data[place : place + size], depth + 1)
        place += size


def _read(element: bytes) -> tuple[str, list[Value]]:
    """Command and values of a message; ValueError if it is not ours, or not as OSC 1.0 writes it."""
    if not _FORM.match(element):
        raise ValueError("no message for us")
    try:
        message = OscMessage(element)
    except ParseError:
        raise ValueError("no message") from None
    do, values = message.address.removeprefix(_ROOT), message.params
    # python-osc overlooks bytes after the values, and padding other than zeros
    if any(isinstance(value, str) and not value.isprintable() for value in values) or _message(do, *values) != element:
        raise ValueError("more or other than the values")
    return do, values


def _message(what: str, *values: Value) -> bytes:
    builder = OscMessageBuilder(address=_ROOT + what)
    for value in values:
        builder.add_arg(value)
    return bytes(builder.build().dgram)
