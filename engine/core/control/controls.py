"""The controls of an input: which messages are commands, such as those of foot switches and program changes.

A message belongs to the controls whose condition it meets in the scene in force. What has begun goes on: the release of
a press that commanded something is not routed, whatever scene is in force by then.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from engine.core.commands import PlayerCommand
from engine.core.control.control_commands import commands_of
from engine.core.control.control_matching import (
    Contact,
    ControlConditions,
    InForce,
    Owner,
    Zone,
    closes,
    contact_of,
    turned,
)
from engine.core.control.switches import SHORT, FootSwitch
from engine.core.control.worded_actions import Sendings
from engine.midi.kinds import CONTROLLER
from engine.rig.models.control import Control


class PressedControl(NamedTuple):
    """What a control asks for, and for which players, "" being the rest of the rig.

    `pressed`: how, where the last message would not say: "controller 64, long press".
    """

    command: PlayerCommand
    players: tuple[str, ...]
    pressed: str = ""


class Taken(NamedTuple):
    """A message that belongs to a control: whether it is also routed, and what it commands."""

    passes: bool
    commands: tuple[PressedControl, ...]


class Switchboard:
    """The controls of one input. Loop only. `in_force`: what they look at."""

    def __init__(self, conditions: ControlConditions, sendings: Sendings) -> None:
        """`sendings`: what the actions send that are given in words."""
        self._conditions, self._sendings = conditions, sendings
        self._switches: dict[Contact, dict[range, FootSwitch]] = {}
        self._values: dict[Contact, int] = {}  # of controllers
        #: switches that time will complete a press of
        self.waiting: dict[FootSwitch, Contact] = {}

    @property
    def due(self) -> int | None:
        """When `tick` next has something, or None."""
        return min((due for switch in self.waiting if (due := switch.due) is not None), default=None)

    def owns(self, message: bytes, in_force: InForce) -> bool:
        """Whether a message like this is a command in this scene, and not routed."""
        contact = contact_of(message)
        if contact is None or not self._conditions.look_at(contact):
            return False
        owners = self._conditions.owners(contact, in_force)
        return bool(owners) and not any(owner.control.passes for owner in owners)

    def take(self, now: int, message: bytes, in_force: InForce) -> Taken | None:
        """What a message commands; None if it does not belong to a control in this scene."""
        contact = contact_of(message)
        if contact is None or not (self._conditions.look_at(contact) or contact in self._switches):
            return None
        commands = self.tick(now, in_force)
        owners = self._conditions.owners(contact, in_force)
        passes = any(owner.control.passes for owner in owners)
        commands += self._commands(_turns(owners, message), contact, in_force)
        mine = bool(owners)
        for zone, closing in self._touched(contact, owners, message):
            means = _meanings(owners, zone)
            switch = self._switch(contact, zone, bool(closing and means))
            if switch is not None and (means or _goes_on(switch, now, closing)):
                mine, passes = True, passes or (switch.passes and not means)
                commands += self._commands(_touch(switch, now, closing, means), contact, in_force)
                self._wait_for(switch, contact)
        return Taken(passes or not mine, tuple(commands)) if mine or commands else None

    def tick(self, now: int, in_force: InForce) -> list[PressedControl]:
        """The presses that are complete by now: long ones, and short ones that have not become double."""
        commands: list[PressedControl] = []
        for switch, contact in list(self.waiting.items()):
            pressed_controls = self._commands(switch.tick(now), contact, in_force)
            commands += [each._replace(pressed=each.pressed or contact.place) for each in pressed_controls]
            self._wait_for(switch, contact)
        return commands

    def forget(self) -> None:
        """The cable was pulled, or the machine slept: no switch counts as pressed."""
        self._switches.clear()
        self.waiting.clear()
        self._values.clear()

    def adopt(self, conditions: ControlConditions, sendings: Sendings) -> None:
        """The rig was edited: what is down stays down, and a press under way goes on if its control is still there.

        A switch that is down stays down even without a control, so that its release is not taken for music.
        """
        self._conditions, self._sendings = conditions, sendings
        for switch in (each for zones in self._switches.values() for each in zones.values()):
            switch.mean_only(conditions.controls)

    def _commands(
        self, pressed_controls: Sequence[Control], contact: Contact, in_force: InForce
    ) -> list[PressedControl]:
        """What these presses command, if they still do in this scene."""
        return [
            PressedControl(
                command, for_whom, f"{contact.place}, {press} press" if (press := control.when.press) else ""
            )
            for control in pressed_controls
            if (for_whom := tuple(in_force.counts_for(control)))
            for command in commands_of(control, contact, self._sendings)
        ]

    def _touched(
        self, contact: Contact, owners: Sequence[Owner], message: bytes
    ) -> Iterator[tuple[range, bool | None]]:
        """The zones of a contact that controls look at, each with whether it closes; the value is remembered."""
        before = self._values.get(contact)
        if contact.kind == CONTROLLER:
            self._values[contact] = message[2]
        zones: dict[Zone, None] = dict.fromkeys(owner.zone for owner in owners)
        zones |= dict.fromkeys(self._switches.get(contact, ()))
        return ((zone, closes(message, before, zone)) for zone in zones if isinstance(zone, range))

    def _switch(self, contact: Contact, zone: range, create: bool) -> FootSwitch | None:
        """The switch. It is made when it is first pressed where that commands something."""
        zones = self._switches.get(contact, {})
        if zone not in zones and create:
            zones = self._switches.setdefault(contact, {})
            zones[zone] = FootSwitch()
        return zones.get(zone)

    def _wait_for(self, switch: FootSwitch, contact: Contact) -> None:
        if switch.due is None:
            self.waiting.pop(switch, None)
        else:
            self.waiting[switch] = contact


def _meanings(owners: Sequence[Owner], zone: Zone) -> dict[str, Control]:
    """What short, long and double presses command; the narrowest control wins."""
    found: dict[str, Control] = {}
    for control in (owner.control for owner in owners if owner.zone == zone):
        found.setdefault(control.when.press or SHORT, control)
    return found


def _goes_on(switch: FootSwitch, now: int, closing: bool | None) -> bool:
    """Whether a message of a switch that commands nothing in this scene still belongs to a press that did."""
    if switch.deaf(now):
        return True
    if closing:
        switch.leave()
    return switch.closed


def _touch(switch: FootSwitch, now: int, closing: bool | None, means: dict[str, Control]) -> list[Control]:
    if closing is None:
        return switch.tick(now)
    return switch.press(now, means) if closing else switch.release(now)


def _turns(owners: Sequence[Owner], message: bytes) -> list[Control]:
    """The controls of one step of a knob. Every step counts; none is a bounce."""
    turns = [owner for owner in owners if owner.control.when.turn is not None]
    return [owner.control for owner in turns if owner.zone == turned(message[2])]
