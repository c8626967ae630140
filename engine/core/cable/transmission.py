"""What a cable is carrying: when it is free, its running status, and a SysEx that real-time bytes slip into."""

from engine.core.cable.output_cable import Delivery
from engine.core.cable.speed import CableSpeed, status_after
from engine.midi.kinds import FIRST_REAL_TIME, SYSEX


class Transmission:
    """What a cable is carrying: when it is free, its running status, and a SysEx that real-time bytes slip into.

    The driver is loaded only a little further ahead than the cable carries, so that urgent messages can overtake. It
    sends in the order in which it was given things, but for one exception: a real-time byte slips into a SysEx if
    nothing was handed over behind that. Times in nanoseconds. `speed` may change while nothing is known to be on the
    cable; None: everything fits.
    """

    def __init__(self, output: int, speed: CableSpeed | None) -> None:
        self.speed = speed
        self.free_at = 0  # when all that was handed over has left
        self.sysex_until = 0  # when the last SysEx has left
        self._output = output
        self._inside_free_at = 0  # when the real-time bytes inside a SysEx have left
        self._handed = 0  # for how long all that was handed over occupies the cable
        self._status = 0  # the running status on the cable

    def carried(self, now: int) -> int:
        """For how long the cable has been carrying anything, from the start until now."""
        return self._handed - max(0, self.free_at - now)

    def hand(self, now: int, message: bytes, out: list[Delivery], crowded: bool = False) -> bool:
        """Hand a message over if it fits; `crowded`: so many real-time bytes wait that a SysEx would never end."""
        speed = self.speed
        if speed is None:
            out.append((self._output, message, now))
            return True
        # as CableSpeed.cost works it out; done here, for this is part of every message's way
        saved = speed.running_status and message[0] == self._status and message[0] < SYSEX
        cost = (len(message) + speed.overhead - saved) * speed.byte_ns
        if message[0] >= FIRST_REAL_TIME and self.sysex_until > now and self.sysex_until == self.free_at:
            return self._hand_inside(now, message, (cost, speed.ahead_ns), crowded, out)
        free_at = self.free_at
        start = free_at if free_at > now else now
        if start > now and start + cost - now > speed.ahead_ns:
            return False
        self.free_at = start + cost
        self._handed += cost
        if speed.running_status:
            self._status = status_after(message, self._status)
        if message[0] == SYSEX:
            self.sysex_until = self.free_at
        out.append((self._output, message, start))
        return True

    def _hand_inside(
        self, now: int, message: bytes, costs: tuple[int, int], crowded: bool, out: list[Delivery]
    ) -> bool:
        """A real-time byte slips in between the bytes of a SysEx, the last that is on the cable.

        `costs`: its own, most ahead.
        """
        cost, ahead = costs
        start = max(self._inside_free_at, now)
        if start > now and start + cost - now > ahead:
            return False
        # a crowd leaves half of the cable to the SysEx
        self._inside_free_at = start + cost * (2 if crowded else 1)
        self.free_at += cost
        self._handed += cost
        self.sysex_until += cost
        out.append((self._output, message, start))
        return True

    def fits_at(self, now: int, message: bytes) -> int:
        """The time at which this message may be handed over."""
        speed = self.speed
        if speed is None:
            return 0
        cost = speed.cost(message, self._status)
        inside = message[0] >= FIRST_REAL_TIME and self.sysex_until > now and self.sysex_until == self.free_at
        free_at = self._inside_free_at if inside else self.free_at
        return free_at if cost > speed.ahead_ns else free_at + cost - speed.ahead_ns
