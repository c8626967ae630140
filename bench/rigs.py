"""Rigs of many scenes, as text: what parts `scenes`, `growth`, `idle` and `start` play."""

from collections.abc import Sequence
from typing import Final

from bench.load import INPUTS, OUTPUTS, chain

SETTLE_MS: Final = 5


def ports(inputs: int, outputs: int, din: Sequence[int] = (), devices: tuple[str, str] | None = None) -> list[str]:
    """The tables of inputs and outputs; the first of each may be a byte device, and some outputs are on DIN cables."""
    places = [f'port = "in {i}"' for i in range(inputs)], [f'port = "out {i}"' for i in range(outputs)]
    if devices is not None:
        for listed, device in zip(places, devices, strict=True):
            listed[0] = f'device = "{device}"'
    cables = ["din" if o in din else "fast" for o in range(outputs)]
    return [
        "[inputs]",
        *(f"in{i} = {{ {place} }}" for i, place in enumerate(places[0])),
        "[outputs]",
        *(f'out{o} = {{ {place}, wire = "{cables[o]}" }}' for o, place in enumerate(places[1])),
    ]


def instruments(outputs: int) -> list[str]:
    """One instrument on channel 1 of each output."""
    lines = []
    for o in range(outputs):
        lines += [f"[instruments.gear{o}]", f'output = "out{o}"', "channel = 1", f'settle = "{SETTLE_MS} ms"']
    return lines


def scene(number: int, routes: Sequence[str], burst: int = 0) -> list[str]:
    """A scene with these routes, and with another sound for this many instruments."""
    steps = (
        f'{{ instrument = "gear{o}", bank = [{number // 128 % 128}, 0], program = {number % 128 + 1} }}'
        for o in range(burst)
    )
    listed = [f"  {route}," for route in routes]
    return ["[[scenes]]", f"number = {number}", f'name = "Scene {number}"', "routes = [", *listed, "]"] + (
        [f"burst = [ {', '.join(steps)} ]"] if burst else []
    )


def route(source: int, output: int, filters: int) -> str:
    """One route through this many filters."""
    return f'{{ from = "in{source}", to = "out{output}", through = [ {chain(source, filters)} ] }}'


def show(
    scenes: int, routes: int = OUTPUTS, filters: int = 3, burst: int = 8, devices: tuple[str, str] | None = None
) -> str:
    """The large rig's ports, every scene with this many routes, each to other outputs than in the scene before."""
    lines = ["format = 1", *ports(INPUTS, OUTPUTS, devices=devices), *instruments(OUTPUTS)]
    for number in range(1, scenes + 1):
        # the first route is the same everywhere: from the first input to the first output
        routed = [route(0, 0, filters)]
        routed += [route(r % INPUTS, (r + number) % OUTPUTS, filters) for r in range(1, routes)]
        lines += scene(number, routed, burst)
    return "\n".join(lines) + "\n"
