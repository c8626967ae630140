"""Tells control surfaces by Open Sound Control what has changed: the addresses in `tell` of [osc].

A change is noticed thirty times per second, so that however fast things change, what that costs is bounded.
"""

from contextlib import ExitStack
from typing import Final

import trio

from engine.live.rounds import SELDOM, next_round
from engine.live.show import Show
from engine.live.socket.osc_facts import facts
from engine.live.socket.osc_packets import Value, osc_message
from engine.rig.models.control import osc_address

_PERIOD: Final = 1 / 30  # seconds


class OscTelling:
    """One show. It follows the rig: new addresses are sent everything once. A machine that follows sends nothing."""

    def __init__(self, show: Show) -> None:
        self._show = show
        self._told: dict[str, dict[str, tuple[Value, ...]]] = {}  # by address
        self._ways: dict[int, trio.socket.SocketType] = {}  # by family of addresses, opened when it is needed
        self._failed: set[str] = set()  # addresses that could not be reached

    async def run(self) -> None:
        """Until cancelled."""
        with ExitStack() as ways:
            while True:
                for address, message in self.take():
                    await self._send(ways, message, address)
                if self._told:
                    await trio.sleep(_PERIOD)
                else:  # the rig may name an address by then
                    await next_round(SELDOM)

    def take(self) -> list[tuple[str, bytes]]:
        """What is to be sent now: (address, message)."""
        engine = self._show.engine
        tell = engine.rig.osc.tell if engine.rig.osc is not None and engine.state.led_by is None else ()
        self._told = {address: self._told.get(address, {}) for address in tell}
        if not tell:
            return []
        known = facts(self._show)
        new = [
            (address, osc_message(what, *values))
            for address, told in self._told.items()
            for what, values in known.items()
            if told.get(what) != values
        ]
        self._told = dict.fromkeys(tell, known)
        return new

    async def _send(self, ways: ExitStack, message: bytes, address: str) -> None:
        host, port = osc_address(address)
        family = trio.socket.AF_INET6 if ":" in host else trio.socket.AF_INET
        try:
            if family not in self._ways:
                self._ways[family] = ways.enter_context(trio.socket.socket(family, trio.socket.SOCK_DGRAM))
            await self._ways[family].sendto(message, (host, port))
        except OSError as fault:
            if address not in self._failed:
                self._show.tell("osc", f"{address} cannot be told what changes: {fault.strerror}")
            self._failed.add(address)
        else:
            self._failed.discard(address)
