"""Takes in the requests of one connection: whole lines, of which a long one stays in the pieces in which it came.

Nothing here grows with a line's length but the number of its pieces: to join them, or to read what they say, holds
Python's lock longer than a note may wait, and takes memory that the system first has to find.
"""

from collections.abc import AsyncGenerator
from typing import Final

import trio

from engine.protocol import LONGEST_REQUEST, LongLine

SHORT: Final = 1 << 16  # bytes of a request that is read in the loop
_PIECE: Final = 1 << 14  # bytes that are taken in at once
_REST: Final = 0.002  # seconds after each piece of a long request

RequestLines = AsyncGenerator[bytes | LongLine, None]


async def request_lines(stream: trio.SocketStream) -> RequestLines:
    """Whole lines; a line longer than allowed ends the connection."""
    begun: list[bytes] = []
    length = 0
    while piece := await stream.receive_some(_PIECE):
        first, *others = piece.split(b"\n")
        begun.append(first)
        length += len(first)
        if length > LONGEST_REQUEST:
            return
        for other in others:
            yield b"".join(begun) if length < SHORT else LongLine(tuple(begun))
            begun, length = [other], len(other)
        if length >= SHORT:
            await trio.sleep(_REST)
