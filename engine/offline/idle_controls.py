"""Controls that never count: those at a player's input that are for others, or for scenes and songs of others."""

from collections.abc import Iterator

from engine.offline.rig_finding import RigFinding
from engine.plurals import some
from engine.rig.models.rig import Rig


def idle_controls(rig: Rig) -> Iterator[RigFinding]:
    """All of a rig, which has passed the checks."""
    whose = {source: player.name for player in rig.players for source in player.inputs}
    for place, control in enumerate(rig.controls):
        own = whose.get(control.input)
        if control.players and own is not None and own not in control.players:
            text = (
                f"the control at {control.input} is for {some(control.players)}, but {control.input} is an input of "
                f"{own}, so it never counts; leave out players, or name another input"
            )
            yield RigFinding(("controls", place, "players"), None, text)
