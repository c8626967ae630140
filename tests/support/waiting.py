"""Waiting for something that must come, without waiting longer than it takes."""

import time
from collections.abc import Callable
from typing import Final

PATIENCE: Final = 15.0  # seconds


def comes(condition: Callable[[], bool]) -> bool:
    """Wait until a condition holds; whether it does."""
    until = time.monotonic() + PATIENCE
    while not condition() and time.monotonic() < until:
        time.sleep(0.002)
    return condition()
