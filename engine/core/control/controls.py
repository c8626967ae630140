"""Which messages are commands: foot switches, program changes and the like that act on the rig.

A message belongs to the controls whose condition it meets in the scene in force. What has begun goes on: the release of
a press that commanded is no music, whatever scene is in force by then.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from engine.core.control.control_matching import (
    Contact,
    ControlConditions,
    Owner,
    Scene,
    Zone,
    closes,
    contact_of,
    holds_in,
    turned,
)
from engine.core.control.switches import SHORT, FootSwitch
from engine.midi.kinds import CONTROLLER
from engine.rig.models.control import Control


class Command(NamedTuple):
    """What the player asked for; `control` is what it was asked with, if with a control.

    `pressed`: what was pressed, in words, where the last message of it would not tell: "controller 64, long press".
    """

    do: str
    scene: int | str | None
    control: Control | None = None
    pressed: str = ""


class Taken(NamedTuple):
    """A message that belongs to a control: whether it is routed as well, and what it commands."""

    passes: bool
    commands: tuple[Command, ...]


class Switchboard:
    """The controls of one input. Loop only. `scene` is the number and name of the one in force, or None."""

    def __init__(self, controls: Sequence[Control] = ()) -> None:
        self._conditions = ControlConditions(controls)
        self._switches: dict[Contact, dict[range, FootSwitch]] = {}
        self._waiting: dict[FootSwitch, Contact] = {}  # those that time will tell something of
        self._values: dict[Contact, int] = {}  # of controllers

    @property
    def due(self) -> int | None:
        """When `tick` next has something, or None."""
        return min((due for switch in self._waiting if (due := switch.due) is not None), default=None)

    def owns(self, message: bytes, scene: Scene | None) -> bool:
        """Whether such a message would be consumed in this scene."""
        contact = contact_of(message)
        if contact is None or not self._conditions.look_at(contact):
            return False
        owners = self._conditions.owners(contact, scene)
        return bool(owners) and not any(owner.control.passes for owner in owners)

    def take(self, now: int, message: bytes, scene: Scene | None) -> Taken | None:
        """What a message means here; None if it belongs to no control that holds in this scene."""
        contact = contact_of(message)
        if contact is None or not (self._conditions.look_at(contact) or contact in self._switches):
            return None
        commands = self.tick(now, scene)
        owners = self._conditions.owners(contact, scene)
        passes = any(owner.control.passes for owner in owners)
        commands += _turns(owners, contact, message)
        mine = bool(owners)
        for zone, closing in self._touched(contact, owners, message):
            means = _meanings(owners, zone)
            switch = self._switch(contact, zone, bool(closing and means))
            if switch is not None and (means or _goes_on(switch, now, closing)):
                mine, passes = True, passes or (switch.passes and not means)
                commands += _commands(_touch(switch, now, closing, means), contact, scene)
                self._wait_for(switch, contact)
        return Taken(passes or not mine, tuple(commands)) if mine or commands else None

    def tick(self, now: int, scene: Scene | None) -> list[Command]:
        """Presses that time has completed: long ones, and short ones that have not become double."""
        commands: list[Command] = []
        for switch, contact in list(self._waiting.items()):
            told = _commands(switch.tick(now), contact, scene)
            commands += [each._replace(pressed=each.pressed or contact.place) for each in told]
            self._wait_for(switch, contact)
        return commands

    def forget(self) -> None:
        """The cable was pulled, or the machine slept: nothing counts as pressed."""
        self._switches.clear()
        self._waiting.clear()
        self._values.clear()

    def go_on_from(self, before: "Switchboard") -> None:
        """The rig was edited: what is down stays down, and a press under way goes on if its control is still there."""
        self._switches, self._waiting, self._values = before._switches, before._waiting, before._values
        for switch in (each for zones in self._switches.values() for each in zones.values()):
            switch.mean_only(self._conditions.controls)

    def _touched(
        self, contact: Contact, owners: Sequence[Owner], message: bytes
    ) -> Iterator[tuple[range, bool | None]]:
        """The zones of a contact that are of interest, each with whether it closes; the value is written down."""
        before = self._values.get(contact)
        if contact.kind == CONTROLLER:
            self._values[contact] = message[2]
        zones: dict[Zone, None] = dict.fromkeys(owner.zone for owner in owners)
        zones |= dict.fromkeys(self._switches.get(contact, ()))
        return ((zone, closes(message, before, zone)) for zone in zones if isinstance(zone, range))

    def _switch(self, contact: Contact, zone: range, wanted: bool) -> FootSwitch | None:
        """The switch; it is made when it is first pressed where that means something."""
        zones = self._switches.get(contact, {})
        if zone not in zones and wanted:
            zones = self._switches.setdefault(contact, {})
            zones[zone] = FootSwitch()
        return zones.get(zone)

    def _wait_for(self, switch: FootSwitch, contact: Contact) -> None:
        if switch.due is None:
            self._waiting.pop(switch, None)
        else:
            self._waiting[switch] = contact


def _meanings(owners: Sequence[Owner], zone: Zone) -> dict[str, Control]:
    """What short, long and double presses command; the narrowest control comes first."""
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


def _turns(owners: Sequence[Owner], contact: Contact, message: bytes) -> list[Command]:
    """What one step of a knob commands; its steps are counted, so none of them is a bounce."""
    turns = [owner for owner in owners if owner.control.when.turn is not None]
    return [_command(owner.control, contact) for owner in turns if owner.zone == turned(message[2])]


def _commands(told: Sequence[Control], contact: Contact, scene: Scene | None) -> list[Command]:
    """What presses command, as far as they still do in this scene."""
    return [_command(control, contact) for control in told if holds_in(control, scene)]


def _command(control: Control, contact: Contact) -> Command:
    scene, press = control.scene, control.when.press
    if scene is None and control.do == "scene" and isinstance(contact.number, int):
        scene = contact.number + 1  # programs and songs count from 1
    return Command(control.do, scene, control, f"{contact.place}, {press} press" if press else "")


def switchboards(controls: Sequence[Control], inputs: Sequence[str]) -> list[Switchboard | None]:
    """One switchboard for each input that has controls."""
    own = {name: [control for control in controls if control.input == name] for name in inputs}
    return [Switchboard(own[name]) if own[name] else None for name in inputs]
