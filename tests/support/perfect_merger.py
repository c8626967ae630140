"""A perfect merger and the instrument behind it, written from MIDI 1.0 without any knowledge of the engine.

Each cable is decoded by itself, so that banks, parameter numbers and MSBs are always those of the player who sent them;
what it means is then done to one instrument. The same instrument with one cable is an ordinary receiver.

Where two channels of one cable have become one, the data of each set the parameter that was selected there, if it was
selected whole, since a selection is for its channel (p. 17, 18); otherwise whatever the cable has selected.

Sources: MIDI 1.0 Detailed Specification 4.2.1 p. 10-25; RP-015 for Reset All Controllers. It resets 2 as well
(M2-113-UM appendix A). Hold 2 is like the sustain pedal (common practice, no source).
"""

from collections import defaultdict
from collections.abc import Hashable
from typing import Any

RESETS = {1: 0, 2: 0, 11: 127}
HOLDING = (64, 66, 69)
REGISTERED, OTHER = "registered", "other"
SELECTS = {101: (REGISTERED, 0), 100: (REGISTERED, 1), 99: (OTHER, 0), 98: (OTHER, 1)}


class PlayedInstrument:
    """What it sounds like. Players are numbers; several may hold one key or one pedal."""

    def __init__(self) -> None:
        self.down: defaultdict[tuple[int, int], set[int]] = defaultdict(set)  # channel, key -> players
        self.ringing: set[tuple[int, int]] = set()  # keys that are up, under a pedal
        self.captured: set[tuple[int, int]] = set()  # by the sostenuto pedal
        self.pedals: defaultdict[tuple[int, int], dict[int, int]] = defaultdict(dict)  # channel, number -> by player
        self.values: dict[Hashable, tuple[int, int]] = {}  # MSB and LSB
        self.movers: dict[Hashable, int] = {}
        self.owned: set[Hashable] = set()  # what somebody has sent an MSB of
        self.off_rest: set[tuple[int, Hashable, int]] = set()  # player, what, half: moved, and not reset since
        self.steps: defaultdict[Hashable, int] = defaultdict(int)
        self.programs: dict[int, tuple[int | None, int | None, int]] = {}  # bank MSB and LSB, None for unknown
        self.modes: dict[int, int] = {}

    def sounding(self) -> set[tuple[int, int]]:
        return {place for place, players in self.down.items() if players} | self.ringing

    def pedal(self, channel: int, number: int) -> int:
        return max(self.pedals[channel, number].values(), default=0)

    def press(self, player: int, channel: int, key: int) -> None:
        self.down[channel, key].add(player)
        self.ringing.discard((channel, key))

    def release(self, player: int, channel: int, key: int) -> None:
        players = self.down[channel, key]
        if player in players:
            players.remove(player)
            if not players and self._holds(channel, key):
                self.ringing.add((channel, key))

    def move_pedal(self, player: int, channel: int, number: int, value: int) -> None:
        before = self.pedal(channel, number)
        self.pedals[channel, number][player] = value
        if number == 66 and before < 64 <= self.pedal(channel, 66):
            down = {place for place, players in self.down.items() if players and place[0] == channel}
            self.captured = {place for place in self.captured if place[0] != channel} | down
        self.ringing = {place for place in self.ringing if self._holds(*place)}

    def _holds(self, channel: int, key: int) -> bool:
        if self.pedal(channel, 64) >= 64 or self.pedal(channel, 69) >= 64:
            return True
        return self.pedal(channel, 66) >= 64 and (channel, key) in self.captured

    def set_high(self, player: int, what: Hashable, value: int) -> None:
        self.values[what], self.movers[what] = (value, 0), player
        self.owned.add(what)
        self.off_rest = {each for each in self.off_rest if each[1:] != (what, 1)}
        self._turn(player, what, 0, value)

    def set_low(self, player: int, what: Hashable, high: int | None, value: int) -> None:
        """Whoever sent the last MSB has the controller; an LSB without one of its own changes nothing about that."""
        self.values[what] = ((self.values.get(what) or _rest(what) or (0, 0))[0] if high is None else high, value)
        if high is not None:
            self.owned.add(what)
        if high is not None or what not in self.owned:
            self.movers[what] = player
        if isinstance(what, tuple) and what[1] == "bend" and high is not None:
            self._turn(player, what, 0, high)
        self._turn(player, what, 1, value)

    def _turn(self, player: int, what: Hashable, half: int, value: int) -> None:
        rests = value == (_rest(what) or (0, 0))[half]
        (self.off_rest.discard if rests else self.off_rest.add)((player, what, half))

    def others_sound(self, player: int, channel: int) -> bool:
        """Whether another player holds a key here, or a pedal that may hold notes."""
        keys = any(players - {player} for (ch, _), players in self.down.items() if ch == channel)
        pedals = (values for (ch, number), values in self.pedals.items() if ch == channel and number in HOLDING)
        return keys or any(value for values in pedals for other, value in values.items() if other != player)

    def end_notes(self, player: int, channel: int, number: int) -> None:
        """All Sound Off, All Notes Off, or a mode that implies it."""
        alone = not self.others_sound(player, channel)
        for ch, key in list(self.down):
            if ch == channel:
                self.release(player, ch, key)
        if number == 120 and alone:
            self.ringing = {place for place in self.ringing if place[0] != channel}
        if number > 123 and alone:
            self.modes[channel] = number

    def reset(self, player: int, channel: int) -> None:
        """Reset All Controllers, of what this player has moved."""
        moved = {what for hand, what, _ in self.off_rest if hand == player}
        for what in [what for what in moved if isinstance(what, tuple) and what[0] == channel]:
            self.off_rest -= {(player, what, 0), (player, what, 1)}
            if self.movers[what] == player and what[1] in (*RESETS, "bend", "pressure", "key"):
                self.values[what] = (64, 0) if what[1] == "bend" else (RESETS.get(what[1], 0), 0)
        for number in range(64, 70):
            self.move_pedal(player, channel, number, 0)

    def heard(self) -> dict[str, Any]:
        """All that can be told from outside, programs aside; what was never moved is as at rest."""
        pedals = {place: value for place in list(self.pedals) if (value := self.pedal(*place))}
        moved = {what: value for what, value in self.values.items() if value != _rest(what)}
        steps = {what: count for what, count in self.steps.items() if count}
        return {"sounding": self.sounding(), "pedals": pedals, "values": moved, "steps": steps, "modes": self.modes}


class _Selection:
    """Which parameter is selected, of one kind or the other."""

    def __init__(self) -> None:
        self._kind = ""
        self._numbers: dict[str, list[int | None]] = {REGISTERED: [None, None], OTHER: [None, None]}

    def select(self, number: int, value: int) -> None:
        self._kind, half = SELECTS[number]
        self._numbers[self._kind][half] = value

    def reset(self) -> None:
        """To null (RP-015)."""
        self._numbers = {REGISTERED: [127, 127], OTHER: [127, 127]}

    @property
    def is_whole(self) -> bool:
        return bool(self._kind) and None not in self._numbers[self._kind]

    @property
    def now(self) -> tuple[str, int, int] | None:
        """An LSB that was never sent counts as 0; without an MSB, or with one that is null, it is nothing."""
        high, low = self._numbers.get(self._kind, [None, None])
        return None if high in (None, 127) else (self._kind, high or 0, low or 0)


class DecodedCable:
    """One cable: what its messages mean, done to an instrument."""

    def __init__(self, instrument: PlayedInstrument, player: int = 0) -> None:
        self._instrument, self._player = instrument, player
        self._banks: defaultdict[int, list[int | None]] = defaultdict(lambda: [None, None])
        self._selections: defaultdict[tuple[int, int | None], _Selection] = defaultdict(_Selection)
        self._highs: dict[Hashable, int] = {}
        self._came = 0

    def hear(self, message: bytes, came: int = 0) -> None:
        """One whole channel message. `came`: the channel that it was played on."""
        self._came = came
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        instrument, player = self._instrument, self._player
        if kind == 0x90 and message[2]:
            instrument.press(player, channel, message[1])
        elif kind in (0x80, 0x90):
            instrument.release(player, channel, message[1])
        elif kind == 0xA0:
            instrument.set_high(player, (channel, "key", message[1]), message[2])
        elif kind == 0xB0:
            self._controller(channel, message[1], message[2])
        elif kind == 0xC0:
            high, low = self._banks[channel]
            instrument.programs[channel] = (high, low, message[1])
        elif kind == 0xD0:
            instrument.set_high(player, (channel, "pressure"), message[1])
        else:
            instrument.set_low(player, (channel, "bend"), message[2], message[1])

    def _controller(self, channel: int, number: int, value: int) -> None:
        instrument, player = self._instrument, self._player
        if number == 0:
            self._banks[channel] = [value, 0]
        elif number == 32:
            self._banks[channel][1] = value
        elif number in SELECTS:
            for came in (None, self._came):  # on any channel, and on this one
                self._selections[channel, came].select(number, value)
        elif number in (6, 38, 96, 97):
            self._data(channel, number, value)
        elif 64 <= number < 70:
            instrument.move_pedal(player, channel, number, value)
        elif number == 121:
            instrument.reset(player, channel)
            for came in (None, self._came):
                self._selections[channel, came].reset()
            for what in self._highs:
                if isinstance(what, tuple) and what[0] == channel and what[1] in RESETS:
                    self._highs[what] = RESETS[what[1]]
        elif number in (120, 123, 124, 125, 126, 127):
            instrument.end_notes(player, channel, number)
        elif 32 < number < 64:
            instrument.set_low(player, (channel, number - 32), self._highs.get((channel, number - 32)), value)
        else:
            self._highs[channel, number] = value
            instrument.set_high(player, (channel, number), value)

    def _selected(self, channel: int) -> Hashable:
        own = self._selections[channel, self._came]
        selected = (own if own.is_whole else self._selections[channel, None]).now
        return None if selected is None else (channel, *selected)

    def _data(self, channel: int, number: int, value: int) -> None:
        what = self._selected(channel)
        if what is None:
            return
        if number == 6:
            self._highs[what] = value
            self._instrument.set_high(self._player, what, value)
        elif number == 38:
            self._instrument.set_low(self._player, what, self._highs.get(what), value)
        else:
            self._highs.pop(what, None)
            self._instrument.steps[what] += 1 if number == 96 else -1


class PerfectMerger:
    """So many cables into one instrument."""

    def __init__(self, cables: int) -> None:
        self.instrument = PlayedInstrument()
        self._cables = [DecodedCable(self.instrument, player) for player in range(cables)]

    def hear(self, player: int, message: bytes, came: int) -> None:
        self._cables[player].hear(message, came)


def _rest(what: Hashable) -> tuple[int, int] | None:
    if not isinstance(what, tuple):
        return None
    if what[1] == "bend":
        return (64, 0)
    return (RESETS.get(what[1], 0), 0) if what[1] in (*RESETS, "pressure", "key") else None
