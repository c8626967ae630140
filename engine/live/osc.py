"""Open Sound Control: recalls and mutes over the network, and the state back to whoever asked.

Off unless the rig has [osc]. Only addresses on the list are heeded; python-osc does the coding.
"""

from ipaddress import ip_address
from typing import Any, Final

import trio
from pythonosc.osc_message_builder import OscMessageBuilder
from pythonosc.osc_packet import OscPacket, ParseError

from engine.live.show import Show

_ROOT: Final = "/bayleaf/"
_LARGEST: Final = 65_507  # bytes of a datagram
_COMMANDS: Final = ("next", "back", "first", "panic", "resend", "tap")


class Osc:
    """One show's ear on UDP. It follows the rig: an edit of [osc] opens, moves or closes the port."""

    def __init__(self, show: Show) -> None:
        self._show = show

    async def run(self) -> None:
        """Listen while the rig says so, until cancelled."""
        while True:
            wanted = self._show.bay.rig.osc
            if wanted is None:
                await trio.sleep(0.5)
                continue
            try:
                with trio.socket.socket(trio.socket.AF_INET, trio.socket.SOCK_DGRAM) as listener:
                    await listener.bind((wanted.listen, wanted.port))
                    while self._show.bay.rig.osc == wanted:
                        with trio.move_on_after(0.5):
                            await self._serve(listener)
            except OSError as fault:
                self._show.tell("osc", f"port {wanted.port} cannot be had: {fault.strerror}")
                await trio.sleep(5)

    async def _serve(self, listener: trio.socket.SocketType) -> None:
        while True:
            data, sender = await listener.recvfrom(_LARGEST)
            try:
                for reply in self._answers(data, sender[0]):
                    await listener.sendto(reply, sender)
            except OSError:  # the sender has gone
                continue
            except Exception as fault:  # it costs this datagram, not the show
                self._show.own_fault(fault)

    def _answers(self, data: bytes, sender: str) -> list[bytes]:
        wanted = self._show.bay.rig.osc
        if wanted is None or ip_address(sender) not in {ip_address(one) for one in wanted.allow}:
            return []
        try:
            messages = [each.message for each in OscPacket(data).messages]
        except (ParseError, ValueError, IndexError, UnicodeDecodeError, OverflowError):
            return []
        return [reply for message in messages for reply in self._obey(message.address, list(message.params), sender)]

    def _obey(self, address: str, values: list[Any], sender: str) -> list[bytes]:
        if not address.startswith(_ROOT):
            return []
        do = address.removeprefix(_ROOT)
        source = f"osc {sender}"
        if do == "state":
            return [self._state()]
        if do in _COMMANDS and not values:
            text = self._show.command(do, None, source).text
        elif do == "scene" and len(values) == 1 and type(values[0]) in (int, str):
            text = self._show.command("scene", values[0], source).text
        elif do in ("mute", "unmute") and len(values) == 1 and isinstance(values[0], str):
            text = self._show.mute(values[0], do == "mute", source).text
        else:
            return [_message("answer", f"{address} is no command, or has other values than it takes")]
        return [_message("answer", text), self._state()]

    def _state(self) -> bytes:
        scene = self._show.bay.scene
        return _message("scene", *(scene if scene is not None else (0, "")))


def _message(what: str, *values: int | str) -> bytes:
    builder = OscMessageBuilder(address=_ROOT + what)
    for value in values:
        builder.add_arg(value)
    return builder.build().dgram
