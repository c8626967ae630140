"""A whole rig as plain values: what a page has when all the pieces of an outline have come."""

from engine.rig.models.rig import Rig
from engine.rig.rig_as_json import Table, scene_outline, sections


def outline(rig: Rig) -> Table:
    """All sections, and all scenes in order."""
    return {**sections(rig), "scenes": list(map(scene_outline, rig.scenes))}
