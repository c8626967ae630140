"""The limits of each driver: the longest message that arrives for certain, and how much may be on its way.

Measured with python-rtmidi 1.5.8; tests/real repeats it.
"""

from typing import Final

from engine.ports.port import DriverFlow

#: JACK: a SysEx of 16,380 bytes or more vanishes silently. This much fits the ring beside what the flow lets through
#: in the two periods before it, which may not have been emptied yet.
#: ALSA: a raw MIDI device's buffer in the kernel takes 4,096 bytes and drops the rest; a program's takes 5,400, and a
#: message that fits neither blocks those behind it.
LONGEST: Final = {"jack": 10_000, "alsa": 4_096}

#: JACK through our own client, which spreads a SysEx over periods and keeps this much of them for each output.
LONGEST_IN_PIECES: Final = 1 << 22

#: ALSA: a program's pool in the kernel has 200 cells of 28 bytes, and a short message takes one; a message that found
#: no room waits for the next one to be sent. So: at most 75 short messages at once (150 if sends are late), and 10,000
#: per second.
ALSA_FLOW: Final = DriverFlow(ahead=2_048, per_second=270_000, overhead=24)

#: The ring that JACK empties once per period holds this many bytes (one of its 16,384 stays free).
JACK_RING: Final = 16_383

#: An input takes one of the kernel's 32 sequencer queues; other programs need some, too.
ALSA_INPUTS: Final = 28


def jack_flow(period: float) -> DriverFlow:
    """For a server with this period (s): the ring holds twice what is ahead, for late sends, and one period's more."""
    return DriverFlow(ahead=4_096, per_second=min(384_000, int(3_000 / period)), overhead=4)
