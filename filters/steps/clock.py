"""The steps of `clock`."""

from filters.registry import Step

_SONG_POSITION, _CLOCK, _START, _CONTINUE, _STOP = 0xF2, 0xF8, 0xFA, 0xFB, 0xFC


def passing() -> Step:
    """All passes."""

    def passes(message: bytes, now: int) -> tuple[bytes, ...]:
        return (message,)

    return passes


def blocking() -> Step:
    """No tick passes."""

    def block(message: bytes, now: int) -> tuple[bytes, ...]:
        return () if message[0] == _CLOCK else (message,)

    return block


def dividing(every: int) -> Step:
    """Count ticks modulo `every`; a tick that finds the count at 0 passes."""
    count = 0
    resume_at = 0  # the count from which `continue` resumes
    running = False

    def divide(message: bytes, now: int) -> tuple[bytes, ...]:
        nonlocal count, resume_at, running
        status = message[0]
        if status == _CLOCK:
            due = count == 0
            count = (count + 1) % every
            return (message,) if due else ()
        if status in (_START, _SONG_POSITION):
            count = resume_at = 0
            running = running or status == _START
        elif status == _CONTINUE and not running:
            count, running = resume_at, True
        elif status == _STOP and running:
            resume_at, running = count, False
        return (message,)

    return divide
