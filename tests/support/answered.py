"""Requests answered as the socket answers them, without the socket."""

from collections.abc import Mapping
from typing import Any

from engine.protocol import Handler, Request, RequestError, read_request, refused


async def answered(handlers: Mapping[type[Request], Handler], request: Mapping[str, Any]) -> dict[str, Any]:
    """Check a request, hand it to its handler, and return the answer as it goes over the socket."""
    try:
        row, asked = read_request(dict(request))
    except RequestError as fault:
        return refused(fault.code, str(fault)).plain()
    return (await handlers[row.model](asked)).plain()
