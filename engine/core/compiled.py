"""A rig made ready to play: names turned into indices, routes into chains of filters, sounds into messages.

Nothing in it ever changes, so it can be made in any thread. What plays is in `engine.core.state`.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from engine.core.cable.output_cable import BurstUnit
from engine.core.cable.program_burst import compile_setup
from engine.core.control.control_matching import ControlConditions
from engine.core.control.players import Players, players_of
from engine.core.control.remote_messages import RemoteSettings, remote_settings
from engine.core.control.setlist import PlayingOrder, order_of_scenes, order_of_songs
from engine.core.control.worded_actions import Sendings, sendings
from engine.core.feedback_plan import FeedbackPlan, feedback_plan
from engine.core.routing.channel_places import Spares, spares_of
from engine.core.routing.compiled_scene import CompiledScene, SceneCompiler
from engine.core.routing.show_in_force import ShowInForce
from engine.core.timing.sync_settings import SyncSettings, sync_settings
from engine.rig.models.rig import Rig, SetList, SongTable
from filters.registry import Filter, registry


class CompiledSong(NamedTuple):
    """A song, and its scenes by number."""

    song: SongTable
    numbers: tuple[int, ...]


@dataclass(frozen=True)
class CompiledRig:
    """A rig by indices: the places of its ports in `inputs` and `outputs`.

    `remote_outputs`: names of those whose cables are at another machine; `controls`: by input, None for those without
    any; `sendings`: the messages of their actions that are given in words; `setlists`: playing orders by name ("" for
    the scenes in the order of a rig without set lists); `songs`: by name; `players`: those with scenes of their own;
    `setups`: what each output is sent once at the start; `sensed`: outputs that ask for active sensing; `feedback`:
    lights and displays; `show`: what filters ask, which an edited rig shares with the one before; `spares`: spare
    channels of instruments.
    """

    rig: Rig
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    remote_outputs: frozenset[str]
    scenes: Mapping[int, CompiledScene]
    controls: tuple[ControlConditions | None, ...]
    sendings: Sendings
    setlists: Mapping[str, PlayingOrder]
    songs: Mapping[str, CompiledSong]
    players: Players
    route_names: frozenset[str]
    setups: Mapping[int, tuple[BurstUnit, ...]]
    sensed: frozenset[int]
    remote: RemoteSettings
    sync: SyncSettings
    feedback: FeedbackPlan
    show: ShowInForce
    spares: Spares

    @property
    def transposed(self) -> Iterator[tuple[int, int]]:
        """The scenes that songs transpose, by number, and how far: those of no song by whichever song comes before."""
        for number in self.scenes:
            own = [each for each in self.songs.values() if number in each.numbers]
            for by in {each.song.transpose for each in (own or self.songs.values())}:
                yield number, by

    def first_setlist(self, player: str) -> str:
        """The set list that this player begins with; "" is the rest of the rig."""
        if player:
            return self.players.setlists[player]
        return next(name for name, order in self.setlists.items() if not self.players.whose(order.numbers))

    def opening(self) -> int | None:
        """The scene with which the rest of the rig begins, where nothing says another.

        Of a rig with players it is the first of its set list, otherwise the first of the file.
        """
        numbers = self.setlists[self.first_setlist("")].numbers if self.players.setlists else tuple(self.scenes)
        return next(iter(numbers), None)

    def find(self, scene: int | str) -> int | None:
        """The number of the scene of this number, name or cue, or None; in words, a name wins over a number, and that
        over a cue."""
        if isinstance(scene, int):
            return scene if scene in self.scenes else None
        if scene in self._named:  # at once, since lights ask for many
            return self._named[scene]
        found = self.rig.scene(scene)
        return found.number if found is not None else None

    @cached_property
    def shares_controls(self) -> bool:
        """Whether what one player plays decides what is a command at inputs of others."""
        return any(control.players for control in self.rig.controls)

    @cached_property
    def _named(self) -> Mapping[str, int]:
        """The numbers of the scenes by name."""
        return {scene.name: scene.number for scene in self.rig.scenes}


def compile_rig(
    rig: Rig,
    filters: Mapping[str, Filter] | None = None,
    after: CompiledRig | None = None,
    remote_outputs: Iterable[str] = (),
) -> CompiledRig:
    """Raises FilterFault if a filter refuses its settings.

    `filters`: by name, all that are installed if not given; `after`: the rig that plays now, whose ports keep their
    places; `remote_outputs`: those whose cables are at another machine.
    """
    inputs, outputs = (after.inputs, after.outputs) if after is not None else ((), ())
    inputs, outputs = _places(inputs, rig.inputs), _places(outputs, rig.outputs)
    show = after.show if after is not None else ShowInForce()
    songs = {song.name: CompiledSong(song, tuple(_numbers(rig, song.scenes))) for song in rig.songs}
    compiler = SceneCompiler(rig, registry() if filters is None else filters, inputs, outputs, show)
    kept = after if after is not None and (inputs, outputs) == (after.inputs, after.outputs) else None
    if kept is not None and filters is None:
        compiler.keep(kept.rig, kept.scenes)
    scenes = {scene.number: compiler.compile(scene) for scene in rig.scenes}
    players = players_of(rig, inputs, scenes, {one.name: _entries(rig, one, songs) for one in rig.setlists})
    return CompiledRig(
        rig,
        inputs,
        outputs,
        frozenset(remote_outputs),
        scenes,
        _controls(rig, inputs, kept),
        sendings(rig),
        _setlists(rig, songs, players),
        songs,
        players,
        frozenset(_route_names(rig)),
        _setups(rig, outputs, kept),
        frozenset(outputs.index(name) for name, port in rig.outputs.items() if port.active_sensing),
        remote_settings(rig.remote, inputs, outputs),
        _sync(rig, inputs, outputs, kept),
        _feedback(rig, outputs, kept),
        show,
        spares_of(rig, outputs),
    )


def _route_names(rig: Rig) -> Iterator[str]:
    """The names of routes and lines, and of their groups."""
    for lists in (rig.routes, *(each for scene in rig.scenes for each in (scene.routes, scene.play))):
        yield from (name for line in lists for name in (line.name, line.group) if name is not None)


def _places(before: Sequence[str], names: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*before, *names)))


# What an edit did not touch is kept from the rig before, which has the same ports at the same places.


def _controls(rig: Rig, inputs: Sequence[str], kept: CompiledRig | None) -> tuple[ControlConditions | None, ...]:
    if kept is not None and rig.controls == kept.rig.controls:
        return kept.controls
    return tuple(_conditions(rig, name) for name in inputs)


def _conditions(rig: Rig, name: str) -> ControlConditions | None:
    own = [control for control in rig.controls if control.input == name]
    return ControlConditions(own) if own else None


def _setups(rig: Rig, outputs: Sequence[str], kept: CompiledRig | None) -> Mapping[int, tuple[BurstUnit, ...]]:
    same_order = kept is not None and [*rig.instruments.items()] == [*kept.rig.instruments.items()]
    if kept is not None and same_order and rig.remote == kept.rig.remote:
        return kept.setups
    return compile_setup(rig, {name: index for index, name in enumerate(outputs)})


def _sync(rig: Rig, inputs: Sequence[str], outputs: Sequence[str], kept: CompiledRig | None) -> SyncSettings:
    if kept is not None and rig.sync == kept.rig.sync and _cued(rig) == _cued(kept.rig):
        return kept.sync
    return sync_settings(rig, inputs, outputs)


def _feedback(rig: Rig, outputs: Sequence[str], kept: CompiledRig | None) -> FeedbackPlan:
    if kept is not None and (rig.tallies, rig.displays) == (kept.rig.tallies, kept.rig.displays):
        return kept.feedback
    return feedback_plan(rig, outputs)


def _cued(rig: Rig) -> list[tuple[int, str | None]]:
    return [(scene.number, scene.at) for scene in rig.scenes]


def _entries(rig: Rig, one: SetList, songs: Mapping[str, CompiledSong]) -> list[int]:
    """The scenes of a set list in their order."""
    return [number for name in one.songs for number in songs[name].numbers] or _numbers(rig, one.scenes)


def _setlists(rig: Rig, songs: Mapping[str, CompiledSong], players: Players) -> Mapping[str, PlayingOrder]:
    """Where every set list is a player's, the rest of the rig has the scenes that are no player's."""
    scenes = {name: song.numbers for name, song in songs.items()}
    orders = {
        one.name: order_of_songs((name, scenes[name]) for name in one.songs)
        if one.songs
        else order_of_scenes(_numbers(rig, one.scenes), scenes)
        for one in rig.setlists
    }
    if any(not players.whose(order.numbers) for order in orders.values()):
        return orders
    rest = [scene.number for scene in rig.scenes if not players.scenes.get(scene.number)]
    return {"": order_of_scenes(rest, scenes), **orders}


def _numbers(rig: Rig, scenes: Iterable[int | str]) -> list[int]:
    found = [rig.scene(scene) for scene in scenes]
    return [scene.number for scene in found if scene is not None]  # the rig's checks saw to it that none is None
