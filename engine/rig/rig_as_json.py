"""A rig as plain values, for the page and other programs that show it."""

from typing import Any

from pydantic import BaseModel

from engine.rig.gear_words import drum_of, label_of
from engine.rig.lowering.whole_scenes import WholeScenes
from engine.rig.models.rig import Instrument, Rig, Route, Scene
from engine.rig.models.scene_lines import Chain

Table = dict[str, Any]


def sections(rig: Rig) -> Table:
    """Names, kinds of cable, sounds, chains, routes, songs, set lists and players; filters in the keys of the rig file.

    Songs and set lists give their scenes by number. `inherited`: of each scene that is like another, by its number.
    """
    numbers: dict[int | str, int] = {name: scene.number for scene in rig.scenes for name in (scene.name, scene.number)}
    songs = {song.name: [numbers[scene] for scene in song.scenes] for song in rig.songs}
    return {
        "format": rig.format,
        "name": rig.rig.name,
        "start": rig.rig.start,
        "inputs": list(rig.inputs),
        "outputs": [{"name": name, "wire": output.wire} for name, output in rig.outputs.items()],
        "instruments": [_instrument(name, gear) for name, gear in rig.instruments.items()],
        "middle_c": rig.rig.middle_c,
        "ports": {
            "inputs": {name: _table(each) for name, each in rig.inputs.items()},
            "outputs": {name: _table(each) for name, each in rig.outputs.items()},
        },
        "gear": {name: _gear(each) for name, each in rig.instruments.items()},
        "controls": list(map(_table, rig.controls)),
        "tallies": list(map(_table, rig.tallies)),
        "displays": list(map(_table, rig.displays)),
        "input_chains": {
            name: {"stop": list(each.stop), "through": _links(each.through)} for name, each in rig.inputs.items()
        },
        "chains": {name: _links(chain) for name, chain in rig.chains.items()},
        "routes": list(map(_route, rig.routes)),
        "songs": [{**_table(song), "scenes": songs[song.name]} for song in rig.songs],
        "setlists": [
            {
                "name": one.name,
                "scenes": [numbers[scene] for scene in one.scenes]
                or [number for song in one.songs for number in songs[song]],
                "songs": list(one.songs),
            }
            for one in rig.setlists
        ],
        "players": list(map(_table, rig.players)),
        "inherited": _inherited(rig),
    }


def _instrument(name: str, gear: Instrument) -> Table:
    """What patching needs of it; `gear` has the whole table."""
    labels = {sound: label_of(gear, each) for sound, each in gear.sounds.items()}
    return {
        "name": name,
        "output": gear.output,
        "channel": gear.channel,
        "members": list(gear.mpe.members) if gear.mpe is not None else [],
        "spare": list(gear.spare),
        "sounds": list(gear.sounds),
        "printed": {sound: label for sound, label in labels.items() if label is not None},
        "programs_from": gear.programs_from,
        "drums": gear.drums,
        "keys": _drums(gear),
        "through": _links(gear.through),
    }


def _drums(gear: Instrument) -> Table:
    """The names of its keys, as JSON has keys."""
    named = ((key, drum_of(gear, gear.channel, key)) for key in range(128))
    return {str(key): drum for key, drum in named if drum is not None}


def _gear(gear: Instrument) -> Table:
    """An instrument in the keys of the rig file; each sound as [program], [msb, lsb, program], or [] for messages."""
    places = [[*(each.bank or ()), each.program] if each.program is not None else [] for each in gear.sounds.values()]
    return {**gear.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude={"sounds"}), "places": places}


def _inherited(rig: Rig) -> Table:
    """The lines and routes that each scene has from the one it is like, and neither replaces nor takes away."""
    wholes = WholeScenes(rig)
    found: Table = {}
    for scene in rig.scenes:
        if scene.like is not None:
            whole, own = wholes.whole(scene), {id(each) for each in (*scene.play, *scene.routes)}
            found[str(scene.number)] = {
                "play": [_table(line) for line in whole.play if id(line) not in own],
                "routes": [_route(route) for route in whole.routes if id(route) not in own],
            }
    return found


def scene_outline(scene: Scene) -> Table:
    """One scene as it is written: its lines, routes and burst, in the keys of the rig file."""
    return {
        "number": scene.number,
        "name": scene.name,
        "cue": scene.cue,
        "like": scene.like,
        "text": scene.text,
        "tempo": scene.tempo,
        "transpose": scene.transpose,
        "at": scene.at,
        "held": scene.held,
        "play": list(map(_table, scene.play)),
        "routes": list(map(_route, scene.routes)),
        "burst": list(map(_table, scene.burst)),
        "enter": list(map(_table, scene.enter)),
        "leave": list(map(_table, scene.leave)),
    }


def _table(one: BaseModel) -> Table:
    return one.model_dump(mode="json", by_alias=True, exclude_unset=True)


def _links(through: Chain) -> list[Table | str]:
    return [each if isinstance(each, str) else _table(each) for each in through]


def _route(route: Route) -> Table:
    return {
        "name": route.name,
        "group": route.group,
        "from": list(route.source),
        "to": list(route.to),
        "through": _links(route.through),
    }
