"""The messages by which an MPE port says which zones it has, and how far bends reach there.

Source: M1-100-UM v1.1 (RP-053 v1.0): the configuration message is RPN 6 on a manager channel; RPN 0 on any member sets
the range of all members of its zone, and on the manager channel that of the manager (section 2.4).
"""

from typing import Final, NamedTuple

from engine.midi.controllers import DATA_LSB, DATA_MSB, RESET_ALL_CONTROLLERS, RESTS, RPN_LSB, RPN_MSB
from engine.midi.kinds import CONTROLLER, Message
from engine.midi.mpe import LOWER_MANAGER, MANAGER_RANGE, MEMBER_RANGE, UPPER_MANAGER, Zone
from engine.midi.parameter_units import SELECTS, Parameter, SelectedParameter

BEND_RANGE: Final = Parameter(True, 0, 0)
CONFIGURATION: Final = Parameter(True, 0, 6)

_NULL: Final = Parameter(True, RESTS[RPN_MSB], RESTS[RPN_LSB])
_WIDEST: Final = 96  # semitones of a bend range
_BETWEEN: Final = 14  # channels that are neither manager


def configuration(zone: Zone, bend: int, manager_bend: int = MANAGER_RANGE) -> list[tuple[Message, ...]]:
    """What tells a receiver that it has this zone, and how far bends reach, one unit for each parameter.

    The range of the members is sent to each of them, as the standard has it.
    """
    return [
        _setting(zone.manager, CONFIGURATION, (DATA_MSB, len(zone.members))),
        _setting(zone.manager, BEND_RANGE, (DATA_MSB, manager_bend), (DATA_LSB, 0)),
        *(_setting(member, BEND_RANGE, (DATA_MSB, bend), (DATA_LSB, 0)) for member in zone.members),
    ]


def _setting(channel: int, parameter: Parameter, *data: tuple[int, int]) -> tuple[Message, ...]:
    pairs = (*parameter.selecting(), *data, *_NULL.selecting())
    return tuple(bytes((CONTROLLER | channel - 1, number, value)) for number, value in pairs)


class AnnouncedZone(NamedTuple):
    """A zone that a port has announced, and how far the bends of its members and of its manager reach (semitones)."""

    zone: Zone
    bend: int
    manager_bend: int = MANAGER_RANGE


class AnnouncedZones:
    """What one port has announced so far. Managers are 1 (the lower zone) and 16 (the upper one)."""

    def __init__(self) -> None:
        self._selected: dict[int, SelectedParameter] = {}  # by channel
        self._members = {LOWER_MANAGER: 0, UPPER_MANAGER: 0}  # how many, by manager
        self._bends: dict[int, int] = {}  # of members, by manager
        self._manager_bends: dict[int, int] = {}

    def turn(self, message: Message) -> None:
        """A controller of this port."""
        channel, number, value = (message[0] & 0x0F) + 1, message[1], message[2]
        selected = self._selected.setdefault(channel, SelectedParameter())
        if number in SELECTS or number == RESET_ALL_CONTROLLERS:
            selected.turn(number, value)
        elif number == DATA_MSB and selected.now == CONFIGURATION:
            self._configure(channel, value)
        elif number == DATA_MSB and selected.now == BEND_RANGE:
            self._reach(channel, value)

    def zone(self, manager: int) -> AnnouncedZone | None:
        """The zone of this manager; None if none was announced, or if it is off."""
        count = self._members[manager]
        if not count:
            return None
        ends = (2, count + 1) if manager == LOWER_MANAGER else (16 - count, 15)
        bends = self._bends.get(manager, MEMBER_RANGE), self._manager_bends.get(manager, MANAGER_RANGE)
        return AnnouncedZone(Zone(*ends, manager), *bends)

    def _configure(self, manager: int, count: int) -> None:
        """The later message has its way: it takes channels from the other zone, which is off once it has none."""
        if manager not in self._members or count > _BETWEEN + 1:
            return
        other = UPPER_MANAGER if manager == LOWER_MANAGER else LOWER_MANAGER
        self._members[manager] = count
        self._members[other] = max(0, min(self._members[other], _BETWEEN - count))
        self._bends.pop(manager, None)
        self._manager_bends.pop(manager, None)

    def _reach(self, channel: int, semitones: int) -> None:
        for manager in self._members if 0 < semitones <= _WIDEST else ():
            found = self.zone(manager)
            if found is not None and channel in found.zone.channels:
                (self._manager_bends if channel == manager else self._bends)[manager] = semitones
