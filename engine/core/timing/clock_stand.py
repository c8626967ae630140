"""Where the clock is: what another machine is sent, and what a recording keeps."""

from typing import NamedTuple


class ClockStand(NamedTuple):
    """Tempo, clocks since the beginning of the song, and ns until the next one, None if none will come.

    `idle`: the song is stopped, and clocks come all the same.
    """

    bpm: float
    position: int
    next_in: int | None
    idle: bool
