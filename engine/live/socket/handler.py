"""What a request's handler is: the server finds it by the request's model."""

from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from engine.protocol import Answer, Request

Handler = Callable[[Any], Awaitable[Answer]]
Handlers = Mapping[type[Request], Handler]
