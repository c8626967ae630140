"""Says in words what a message commands in a scene: controls are asked first, then [remote], as in the show."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from engine.core.control.control_matching import (
    Contact,
    ControlConditions,
    InForce,
    Owner,
    Playing,
    closes,
    contact_of,
    turned,
)
from engine.core.control.remote_messages import RemoteReader, RemoteRequest, remote_settings
from engine.core.control.show_commands import SHOW_COMMANDS
from engine.core.control.switches import SHORT
from engine.midi.message_words import to_hex
from engine.rig.models.actions import ActionTable
from engine.rig.models.control import Control
from engine.rig.models.rig import Rig, Scene


@dataclass(frozen=True)
class ExplainedCommand:
    """What takes a message and what it commands.

    `by`: "a control" or "[remote]"; `commands`: in words, none if the message only ends a press; `routed`: whether it
    is also routed.
    """

    by: str
    commands: tuple[str, ...]
    routed: bool

    @property
    def words(self) -> str:
        """ "a control takes it; it is not routed: recall scene 13 Chase" """
        what = "acts on it, and it is routed as well" if self.routed else "takes it; it is not routed"
        return f"{self.by} {what}: {'; '.join(self.commands) or 'it commands nothing by itself'}"


class _Player(NamedTuple):
    """A player, or the rest of the rig, while one scene is explained."""

    name: str
    playing: Playing


def _in_force(rig: Rig, scene: Scene, source: str, song: str | None) -> InForce:
    """As if this scene were that of whoever a control is for."""
    playing = Playing(scene.number, scene.name, song)
    players = {each.name: _Player(each.name, playing) for each in rig.players}
    own = next((each.name for each in rig.players if source in each.inputs), "")
    return InForce(_Player(own, playing), players)


def commanded(rig: Rig, scene: Scene, source: str, message: bytes, song: str | None = None) -> ExplainedCommand | None:
    """None if the message is not a command. A press is taken to be the first one; `song`: the one in force."""
    contact = contact_of(message)
    if contact is not None:
        conditions = ControlConditions(control for control in rig.controls if control.input == source)
        owners = conditions.owners(contact, _in_force(rig, scene, source, song))
        if owners:
            words = dict.fromkeys(_commands_in_words(rig, owners, contact, message))
            return ExplainedCommand("a control", tuple(words), any(owner.control.passes for owner in owners))
    if rig.remote is None or source not in rig.remote.inputs:
        return None
    request = RemoteReader(remote_settings(rig.remote, [*rig.inputs], [*rig.outputs])).read(0, message)
    return ExplainedCommand("[remote]", (_asked(rig, request),), routed=False) if request is not None else None


def _asked(rig: Rig, request: RemoteRequest) -> str:
    if request.do == "scene" and request.scene is not None:
        return _recall(rig, request.scene)
    if request.do not in SHOW_COMMANDS:
        return request.do
    if not isinstance(request.data, str):
        return "next" if request.do == "go" else request.do
    found = rig.scene_of_cue(request.data)
    meant = f"scene {found.number} {found.name}" if found else f"cue {request.data}, which is not in the rig"
    return f"{'recall' if request.do == 'go' else request.do} {meant}"


def _commands_in_words(rig: Rig, owners: list[Owner], contact: Contact, message: bytes) -> Iterator[str]:
    narrowest: dict[tuple[object, str], Control] = {}  # of each kind of press
    for control, zone in owners:
        if narrowest.setdefault((zone, control.when.press or SHORT), control) is not control:
            continue
        if turned(message[2]) == zone if isinstance(zone, str) else closes(message, None, zone):
            press = f", by a {control.when.press} press" if control.when.press else ""
            players = f", for {' and '.join(control.players)}" if control.players else ""
            yield f"{', then '.join(_does(rig, control, each, contact) for each in control.actions)}{players}{press}"


def _does(rig: Rig, control: Control, action: str | ActionTable, contact: Contact) -> str:
    if isinstance(action, ActionTable):
        return _recall(rig, action.scene) if action.scene is not None else action.words
    if action == "scene":
        carried = contact.number + 1 if isinstance(contact.number, int) else 0  # programs and songs count from 1
        return _recall(rig, carried if control.scene is None else control.scene)
    if action == "send":
        return f"send {', '.join(map(to_hex, control.messages))} to {control.output}"
    return f"{action} {control.route}" if action in ("mute", "unmute") else action


def _recall(rig: Rig, scene: int | str) -> str:
    found = rig.scene(scene)
    return f"recall scene {found.number} {found.name}" if found else f"recall scene {scene}, which is not in the rig"
