"""Requests to a running engine from the panel's loop; the shell uses `engine.live.socket.client`."""

import contextlib
import json
from collections.abc import AsyncGenerator
from typing import Any, Final

import trio

from engine.live.socket.client import NoEngine, address_of, socket_path

_AGAIN: Final = 0.02  # seconds until a connection is tried again that too many others wait for
_LONGEST: Final = 32 << 20  # bytes of an answer: a whole rig comes in one


class EngineUnanswered(Exception):
    """The engine did not answer; the text says so."""


async def connect(name: str) -> trio.SocketStream:
    """To the engine of this name. Raises EngineUnanswered."""
    try:
        with address_of(socket_path(name)) as address:
            return await _connected(address)
    except NoEngine as fault:
        raise EngineUnanswered(str(fault)) from None
    except OSError:
        raise EngineUnanswered(f'no engine named "{name}" is running') from None


async def _connected(address: str) -> trio.SocketStream:
    """A connection, when it is its turn: trio takes one for made that found too many waiting (unix(7), EAGAIN)."""
    while True:
        stream = await trio.open_unix_socket(address)
        try:
            stream.socket.getpeername()
            return stream
        except OSError:
            await stream.aclose()
            await trio.sleep(_AGAIN)


async def ask(name: str, request: dict[str, Any], patience: float) -> str:
    """The engine's answer as it came, one JSON object, within `patience` seconds. Raises EngineUnanswered."""
    line = b""
    with trio.move_on_after(patience), contextlib.suppress(trio.BrokenResourceError):
        async with await connect(name) as stream:
            await stream.send_all(json.dumps(request).encode() + b"\n")
            async with contextlib.aclosing(lines(stream)) as answers:
                line = await anext(answers, b"")
    if not line:
        raise EngineUnanswered(f'the engine "{name}" did not answer; it may or may not have carried this out')
    return line.decode()


async def lines(stream: trio.SocketStream) -> AsyncGenerator[bytes, None]:
    """Whole lines, until one is longer than any answer or cut short."""
    begun = bytearray()
    with contextlib.suppress(trio.BrokenResourceError):
        async for piece in stream:
            *ends, rest = bytes(piece).split(b"\n")
            for end in ends:
                yield bytes(begun + end)
                begun.clear()
            begun += rest
            if len(begun) > _LONGEST:
                return
