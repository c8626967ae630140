"""Requests to a running engine from the panel's loop; the shell's way is `engine.live.socket.client`."""

import contextlib
import json
from collections.abc import AsyncGenerator
from typing import Any, Final

import trio

from engine.live.socket.client import NoEngine, address_of, socket_path

_LONGEST: Final = 32 << 20  # bytes of an answer: a whole rig comes in one


class EngineUnanswered(Exception):
    """The engine did not answer; the text says so."""


async def connect(name: str) -> trio.SocketStream:
    """To the engine of this name. Raises Unanswered."""
    try:
        with address_of(socket_path(name)) as address:
            return await trio.open_unix_socket(address)
    except (OSError, NoEngine):
        raise EngineUnanswered(f'no engine named "{name}" is running') from None


async def ask(name: str, request: dict[str, Any], patience: float) -> str:
    """The engine's answer as it came, one JSON object, within `patience` seconds. Raises Unanswered."""
    line = b""
    with trio.move_on_after(patience), contextlib.suppress(trio.BrokenResourceError):
        async with await connect(name) as stream:
            await stream.send_all(json.dumps(request).encode() + b"\n")
            async with contextlib.aclosing(lines(stream)) as answers:
                line = await anext(answers, b"")
    if not line:
        raise EngineUnanswered(f'the engine "{name}" did not answer; whether it was done is not known')
    return line.decode()


async def lines(stream: trio.SocketStream) -> AsyncGenerator[bytes, None]:
    """Whole lines; a longer one than any answer, and one that is cut short, ends them."""
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
