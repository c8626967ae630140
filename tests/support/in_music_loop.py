"""Runs a test's task in the loop of the music, as `bayleaf run` does, in place of trio's own."""

from collections.abc import Awaitable, Callable
from functools import wraps
from typing import ParamSpec

from engine.live import music_loop

_Given = ParamSpec("_Given")


def in_music_loop(test: Callable[_Given, Awaitable[None]]) -> Callable[_Given, None]:
    """The test as a function that is no coroutine, so that pytest-trio leaves it alone."""

    @wraps(test)
    def whole(*given: _Given.args, **named: _Given.kwargs) -> None:
        async def task() -> None:
            await test(*given, **named)

        music_loop.run(task)

    return whole
