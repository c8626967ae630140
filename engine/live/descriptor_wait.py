"""Where the reader sleeps while nobody plays: until a descriptor of an input stirs, or somebody rouses it (Linux)."""

import os
import select
from collections.abc import Iterable
from contextlib import suppress


class DescriptorWait:
    """One thread waits; any thread may rouse it. Descriptors that are closed are forgotten by themselves."""

    def __init__(self) -> None:
        self._watched = select.epoll()
        self._bell = os.eventfd(0, os.EFD_NONBLOCK | os.EFD_CLOEXEC)
        self._watched.register(self._bell, select.EPOLLIN)

    def watch(self, descriptors: Iterable[int]) -> None:
        """Wake for these, too. Raises OSError if one cannot be waited for."""
        # Each message that comes is an edge. What another thread of this process reads, as RtMidi's does, may be gone
        # before the kernel looks whether there is something to read; there is room to write, so no edge is forgotten.
        any_news = select.EPOLLIN | select.EPOLLOUT | select.EPOLLET
        for descriptor in descriptors:
            with suppress(FileExistsError):
                self._watched.register(descriptor, any_news)

    def wait(self, seconds: float) -> bool:
        """Return after this time at most; whether a descriptor stirred since the last call."""
        if not select.select([self._watched], [], [], seconds)[0]:  # epoll's own time is in whole milliseconds
            return False
        stirred = [descriptor for descriptor, _ in self._watched.poll(0)]
        if self._bell not in stirred:
            return bool(stirred)
        with suppress(BlockingIOError):
            os.eventfd_read(self._bell)
        return len(stirred) > 1

    def rouse(self) -> None:
        """End that wait, or the next one at once."""
        os.eventfd_write(self._bell, 1)

    def close(self) -> None:
        """Nobody waits any longer."""
        self._watched.close()
        os.close(self._bell)


def descriptor_wait() -> DescriptorWait | None:
    """A place to wait, if this system has any."""
    return DescriptorWait() if hasattr(select, "epoll") else None
