"""Who plays what, made ready from the rig: each player's inputs, set list and scenes."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from engine.core.routing.compiled_scene import CompiledScene
from engine.rig.models.rig import Rig


class Players(NamedTuple):
    """The players of a rig by name; "" is the rest of the rig.

    `inputs`: by index, whose it is, the rest of the rig left out; `setlists`: by player, in the order of the rig;
    `scenes`: by number, whose it is, left out if it is nobody's.
    """

    inputs: Mapping[int, str]
    setlists: Mapping[str, str]
    scenes: Mapping[int, str]

    def whose(self, numbers: Sequence[int]) -> str | None:
        """Whose these scenes are, None if nobody's: the first that is somebody's says so."""
        return next((self.scenes[number] for number in numbers if number in self.scenes), None)


def players_of(
    rig: Rig, inputs: Sequence[str], scenes: Mapping[int, CompiledScene], listed: Mapping[str, Sequence[int]]
) -> Players:
    """`inputs`: by index; `listed`: the scenes of each set list."""
    if not rig.players:
        return Players({}, {}, {})
    whose = {inputs.index(name): player.name for player in rig.players for name in player.inputs}
    owners = {number: owners for number, scene in scenes.items() if (owners := _owners(scene, whose))}
    for player in rig.players:
        for number in listed[player.setlist]:
            owners.setdefault(number, {player.name})
    single = {number: next(iter(owned)) for number, owned in owners.items() if len(owned) == 1}
    return Players(whose, {player.name: player.setlist for player in rig.players}, single)


def _owners(scene: CompiledScene, whose: Mapping[int, str]) -> set[str]:
    """Those from whose inputs its own routes and lines lead."""
    return {whose.get(source, "") for source, paths in enumerate(scene.own) if paths}
