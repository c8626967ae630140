"""A rig of format 2 written out as format 1 has it: a route for each line with all its filters, and a burst."""

from collections.abc import Iterator

from engine.rig.edit.toml_edits import toml
from engine.rig.lowering.lowered_scene import LoweredRoute, LoweredScene, Lowering
from engine.rig.models.rig import Rig


def written_out(rig: Rig) -> str:
    """The text; what enters or leaves with a scene, and tempos, cannot be said in format 1."""
    lowering = Lowering(rig)
    lines = ["format = 1", "", "[rig]", f"name = {toml(rig.rig.name)}", "", "[inputs]"]
    lines += [f"{name} = {toml({'port': port.port})}" for name, port in rig.inputs.items()]
    lines += ["", "[outputs]"]
    lines += [f"{name} = {toml({'port': port.port, 'wire': port.wire})}" for name, port in rig.outputs.items()]
    for name, gear in rig.instruments.items():
        sounds = {
            one: {key: value for key, value in (("bank", sound.bank), ("program", sound.program)) if value is not None}
            for one, sound in gear.sounds.items()
        }
        lines += ["", f"[instruments.{name}]", f'output = "{gear.output}"', f"channel = {gear.channel}"]
        lines += [f'bank = "{gear.bank}"', f'settle = "{gear.settle // 1_000_000} ms"']
        lines += [f"programs_from = {gear.programs_from}", f"sounds = {toml(sounds)}"]
    for number, route in enumerate(lowering.routes(rig.routes, "route")):
        lines += ["", "[[routes]]", f'name = "{route.name or number}"', f"from = {toml(route.source)}"]
        lines += [f"to = {toml(route.to)}", f"through = {_filters(lowering, route, route.source[0])}"]
    for scene in rig.scenes:
        lines += _scene(lowering, lowering.lowered(scene))
    return "\n".join(lines) + "\n"


def _scene(lowering: Lowering, scene: LoweredScene) -> Iterator[str]:
    yield from ("", "[[scenes]]", f"number = {scene.whole.number}", f"name = {toml(scene.whole.name)}", "routes = [")
    for route in scene.routes:
        for source in route.source:
            name = f"name = {toml(route.name)}, " if route.name is not None and len(route.source) == 1 else ""
            through = _filters(lowering, route, source)
            yield f"  {{ {name}from = {toml(source)}, to = {toml(route.to)}, through = {through} }},"
    yield from ("]", "burst = [")
    yield from (f'  {{ instrument = "{step.instrument}", sound = {toml(step.sound)} }},' for step in scene.burst)
    yield "]"


def _filters(lowering: Lowering, route: LoweredRoute, source: str) -> str:
    arriving = [chain for name in route.to if (chain := lowering.arriving(name)) is not None]
    assert not any(chain.concerns(route.channel) for chain in arriving), "format 1 has no chains at instruments"
    settings = (*lowering.departing(source), *route.through)
    return toml([each.model_dump(mode="json", by_alias=True, exclude_unset=True) for each in settings])
