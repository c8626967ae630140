"""A rig as plain values, for the page and other programs that show it."""

from typing import Any

from pydantic import BaseModel

from engine.rig.models.rig import Rig, Route, Scene

Table = dict[str, Any]


def sections(rig: Rig) -> Table:
    """Names, kinds of cable, sounds, routes and set lists; filters in the keys of the rig file.

    Set lists give their scenes by number.
    """
    numbers = {name: scene.number for scene in rig.scenes for name in (scene.name, scene.number)}
    return {
        "name": rig.rig.name,
        "inputs": list(rig.inputs),
        "outputs": [{"name": name, "wire": output.wire} for name, output in rig.outputs.items()],
        "instruments": [
            {
                "name": name,
                "output": gear.output,
                "channel": gear.channel,
                "sounds": list(gear.sounds),
                "programs_from": gear.programs_from,
            }
            for name, gear in rig.instruments.items()
        ],
        "routes": list(map(_route, rig.routes)),
        "setlists": [{"name": one.name, "scenes": [numbers[scene] for scene in one.scenes]} for one in rig.setlists],
    }


def scene_outline(scene: Scene) -> Table:
    """One scene: its routes and its burst, in the keys of the rig file."""
    return {
        "number": scene.number,
        "name": scene.name,
        "at": scene.at,
        "held": scene.held,
        "routes": list(map(_route, scene.routes)),
        "burst": [step.model_dump(mode="json", exclude_unset=True) for step in scene.burst],
    }


def _table(one: BaseModel) -> Table:
    return one.model_dump(mode="json", by_alias=True, exclude_unset=True)


def _route(route: Route) -> Table:
    return {
        "name": route.name,
        "from": list(route.source),
        "to": list(route.to),
        "through": [each if isinstance(each, str) else _table(each) for each in route.through],
    }
