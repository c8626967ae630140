"""A scene of routes and a burst in the words of format 2: play lines with their sounds, proved to do the same.

A line is tried for each route; a route that no line can replace stays, with the reason in words.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple

from engine.midi.controllers import BANKS, MODE_MESSAGES, PEDALS
from engine.midi.message_words import MiddleC, note_range, open_range
from engine.offline.scene_proof import CompiledSide, SceneProof, aside
from engine.rig.models.rig import BurstStep, Rig, Route, Scene, rig_models
from filters.registry import FilterSettings

Table = dict[str, Any]

_PROGRAMS: Final = ("program", *(f"controller {number}" for number in BANKS), "channel_mode")
_PEDALS: Final = tuple(f"controller {number}" for number in PEDALS)
_MODES: Final = tuple(f"controller {number}" for number in MODE_MESSAGES)
_ALL: Final = (0, 127)
_AS_IT_CAME: Final = "every channel passes as it comes in, and a line plays one"


class KeptRoute(NamedTuple):
    """A route that stays one, and why."""

    place: str
    reason: str


class ShorterScene(NamedTuple):
    """A scene's lists in format 2, as a file has them, and why routes in it could not become lines."""

    play: list[Table]
    routes: list[Table]
    burst: list[Table]
    kept: list["KeptRoute"]


class SceneShortener:
    """Shortens the scenes of one rig. Routes that are written alike are tried once."""

    def __init__(self, rig: Rig, channel: int | None = None) -> None:
        """`channel`: see SceneProof."""
        self._rig, self._channel = rig, channel
        side = CompiledSide(rig)
        self._proof = SceneProof(side, side, channel)
        self._known: dict[str, list[Table] | str] = {}

    def shortened(self, scene: Scene, written: Mapping[str, Any]) -> ShorterScene:
        """`written`: the scene's table in the file, whose filters are kept as they are written."""
        made = ShorterScene([], [], [], [])
        for place, (route, table) in enumerate(zip(scene.routes, written.get("routes", ()), strict=True)):
            lines = self._lines(route, table)
            if isinstance(lines, str):
                made.routes.append(table)
                made.kept.append(KeptRoute(f"route {route.name or place + 1} of scene {scene.number}", lines))
            else:
                made.play.extend(dict(line) for line in lines)
        burst = self._with_sounds(made.play, scene, written.get("burst", ()))
        return made._replace(burst=burst)

    # Lines

    def _lines(self, route: Route, table: Table) -> list[Table] | str:
        key = repr(table)
        if key not in self._known:
            self._known[key] = self._tried(route, table)
        return self._known[key]

    def _tried(self, route: Route, table: Table) -> list[Table] | str:
        """Lines that do what the route does, one for each of its outputs; or why there are none."""
        if route.name is not None and len(route.to) > 1:
            return "its name is for several outputs, and a line has one"
        lines = []
        for output in dict.fromkeys(route.to):
            alone = route.model_copy(update={"to": (output,)})
            reasons = []
            for line in self._candidates(alone, table, output):
                said = self._difference(alone, line)
                if said is None:
                    lines.append(line)
                    break
                reasons.append(said)
            else:
                return reasons[-1] if reasons else self._no_instrument(route, output)
        return lines

    def _difference(self, route: Route, written: Table) -> str | None:
        scene = self._rig.scenes[0].model_copy(update={"routes": (route,), "burst": (), "play": (), "like": None})
        play = rig_models()["PlayLine"].model_validate(written, context={"middle_c": self._rig.rig.middle_c})
        line = scene.model_copy(update={"routes": (), "play": (play,)})
        said = self._proof.difference(aside(scene), aside(line))
        return None if said is None else f"a line would do something else ({said.partition(': ')[2] or said})"

    def _no_instrument(self, route: Route, output: str) -> str:
        channels = [each for each in route.through if getattr(each, "filter", "") == "channels"]
        if not channels:
            return _AS_IT_CAME
        ends = {*_ends(channels).values()}
        if len(ends) == 1:
            return f"no instrument of {output} is on channel {ends.pop()}"
        return f"its messages end on several channels of {output}, and a line plays one"

    def _candidates(self, route: Route, table: Table, output: str) -> Iterator[Table]:
        chain = [each for each in route.through if not isinstance(each, str)]
        parts = _Parts(chain, table.get("through", ()), self._rig.rig.middle_c, self._channel)
        for name, gear in self._rig.instruments.items():
            if gear.output != output or not parts.leads_to(gear.channel):
                continue
            for programs in (False, True):
                keys = {
                    "name": route.name,
                    "from": table["from"],
                    "on": name,
                    **parts.keys(programs),
                }
                yield {key: value for key, value in keys.items() if value is not None}

    # Sounds

    def _with_sounds(self, lines: list[Table], scene: Scene, written: Sequence[Table]) -> list[Table]:
        """Puts steps of the burst into lines of their instruments, and answers with those that are left.

        The order on each output stays: of its steps only the last ones move, and the lines come in their order.
        """
        steps = [*zip(scene.burst, written, strict=True)]
        moved: dict[str, int] = {}
        done: set[str] = set()
        for place, (step, _) in reversed([*enumerate(steps)]):
            output = step.output or self._rig.instruments[str(step.instrument)].output
            names = [line["on"] for line in lines]
            sound = self._sound(step)
            if output in done or sound is None or step.instrument not in names or step.instrument in moved:
                done.add(output)
                continue
            moved[str(step.instrument)] = place
            lines[names.index(step.instrument)]["sound"] = sound
        for line in lines:
            for key in [key for key in line if key not in ("name", "from", "on", "sound")]:
                line[key] = line.pop(key)  # the sound comes after the instrument
        lines.sort(key=lambda line: moved.get(line["on"], -1))
        return [table for place, (_, table) in enumerate(steps) if place not in moved.values()]

    def _sound(self, step: BurstStep) -> str | None:
        """The name of a step's sound; one that it gives by bank and program may have a name."""
        if step.instrument is None:
            return None
        sounds = self._rig.instruments[step.instrument].sounds
        same = (name for name, sound in sounds.items() if (sound.bank, sound.program) == (step.bank, step.program))
        return step.sound if step.sound is not None or step.program is None else next(same, None)


class _Parts:
    """A route's filters sorted into what a line has words for, and the others."""

    def __init__(
        self, chain: Sequence[FilterSettings], written: Sequence[Table], middle_c: MiddleC, only: int | None
    ) -> None:
        self._middle_c = middle_c
        self._channel, self._to = _channels([each for each in chain if each.filter == "channels"], only)
        self._kinds: list[str] = []
        self._by: int | None = None
        self._zone: Any = None
        self._others: list[Table | list[str]] = []  # a list: kinds that are stopped here
        for settings, table in zip(chain, written, strict=True):
            self._sort(settings, table)

    def _sort(self, settings: Any, table: Table) -> None:
        if settings.filter == "channels" and self._to is not None:
            return  # the line's own
        if settings.filter == "zone" and self._zone is None and settings.fade is None:
            self._zone = settings
        elif settings.filter == "transpose" and self._by is None and settings.outside == "drop":
            self._by = settings.semitones
        elif settings.filter == "strip":
            self._kinds += settings.kinds
            self._others.append([*settings.kinds])
        else:
            self._others.append(table)

    def leads_to(self, channel: int) -> bool:
        """Whether everything ends on this channel."""
        return self._to == channel

    def keys(self, programs: bool) -> Table:
        """The keys of a line; `programs`: whether program changes may pass if nothing stops them all."""
        stops_programs = {*self._kinds}.issuperset(_PROGRAMS)
        stops_pedals = {*self._kinds}.issuperset(_PEDALS)
        said = {*(() if programs or not stops_programs else _PROGRAMS), *(_PEDALS if stops_pedals else ())}
        through = [each for each in (_without(one, said) for one in self._others) if each is not None]
        zone = self._zone
        return {
            "notes": note_range(zone.notes, self._middle_c) if zone is not None and zone.notes != _ALL else None,
            "velocity": open_range(zone.velocity) if zone is not None and zone.velocity != _ALL else None,
            "transpose": self._by or None,
            "channel": self._channel,
            "pedal": False if stops_pedals else None,
            "programs": True if programs else None,
            "through": through or None,
        }


def _ends(filters: Sequence[Any]) -> dict[int, int]:
    """Where the channels that pass all filters of channels end."""
    ends = {each: each for each in range(1, 17)}
    for settings in filters:
        kept = {each: at for each, at in ends.items() if at in (settings.keep or ends.values())}
        ends = {each: settings.map.get(at, at) for each, at in kept.items() if at not in settings.drop}
    return ends


def _channels(filters: Sequence[Any], only: int | None) -> tuple[int | None, int | None]:
    """The one channel that all filters of channels together take, None for any of them, and the one where everything
    ends; None for both if that is not one channel. `only`: the one on which inputs send."""
    ends = _ends(filters)
    if only is not None:
        return None, ends.get(only)
    if len({*ends.values()}) != 1 or len(ends) not in (1, 16):
        return None, None
    return (min(ends) if len(ends) == 1 else None), min(ends.values())


def _without(one: Table | list[str], kinds: set[str]) -> Table | None:
    """A filter; of one that stops kinds, those that nothing else stops."""
    if isinstance(one, dict):
        return one
    left = [kind for kind in one if kind not in kinds and not ("channel_mode" in kinds and kind in _MODES)]
    return {"filter": "strip", "kinds": left} if left else None
