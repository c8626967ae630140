"""What becomes of one message in one scene, and why: the same filters as in the show, asked one by one."""

from dataclasses import dataclass

from engine.core.plan import Compiler, Faults, Path, through
from engine.rig.models import Rig, Scene
from filters.registry import Later, registry


@dataclass(frozen=True)
class Verdict:
    """What one filter made of what reached it: messages, or `Later` with the time from now in ns."""

    filter: str
    took: tuple[bytes | Later, ...]
    gave: tuple[bytes | Later, ...]


@dataclass(frozen=True)
class RouteVerdict:
    """What one route made of the message: filter by filter, and what its outputs get."""

    route: str
    outputs: tuple[str, ...]
    filters: tuple[Verdict, ...]
    result: tuple[bytes | Later, ...]


@dataclass(frozen=True)
class Explanation:
    """All routes of the input, and what each output gets, one message once."""

    scene: tuple[int, str]
    routes: tuple[RouteVerdict, ...]
    outputs: dict[str, tuple[bytes | Later, ...]]


def explain(rig: Rig, scene: Scene, source: str, message: bytes) -> Explanation:
    """Every route's verdict on a message of this input. KeyError if the rig has no such input."""
    index = list(rig.inputs).index(source) if source in rig.inputs else None
    if index is None:
        raise KeyError(source)
    faults = Faults()
    plan = Compiler(rig, registry(), faults).plan(scene)
    names = tuple(rig.outputs)
    routes = tuple(_judge(path, names, message, faults) for path in plan.paths[index])
    # compiled anew: filters with state have just been asked once
    answer = Compiler(rig, registry(), faults).plan(scene).answer(index, message, 0)
    outputs: dict[str, tuple[bytes | Later, ...]] = dict.fromkeys(names, ())
    for output, unit in answer.units:
        outputs[names[output]] += unit
    for timed in answer.later:
        for output in timed.outputs:
            outputs[names[output]] += (Later(timed.at, timed.message),)
    return Explanation((scene.number, scene.name), routes, outputs)


def _judge(path: Path, outputs: tuple[str, ...], message: bytes, faults: Faults) -> RouteVerdict:
    flowing: tuple[bytes | Later, ...] = (message,)
    verdicts = []
    for link in path.links:
        took = flowing
        flowing = through(link, took, 0, faults)
        verdicts.append(Verdict(link.name, took, flowing))
        if not flowing:
            break
    return RouteVerdict(path.route, tuple(outputs[index] for index in path.outputs), tuple(verdicts), flowing)
