"""Lets all who look again and again do so at the same moments, so that an engine at rest wakes the processor seldom."""

from typing import Final

import trio

#: seconds; a look costs little, but each time that the loop has to wake for one costs the battery
ROUND: Final = 0.2
#: rounds, for what nothing asks for until the rig is edited: a second
SELDOM: Final = 5


async def next_round(rounds: int = 1) -> None:
    """Sleep until a round begins: this many from now, or up to half of that earlier or later."""
    span = rounds * ROUND
    await trio.sleep_until(((trio.current_time() + span / 2) // span + 1) * span)
