"""A scene that plays: its routes, with what their filters remember, and which of them are muted."""

from collections.abc import Callable

from engine.core.routing.channel_places import AT_HOME, Places, placed_bursts
from engine.core.routing.compiled_scene import CompiledScene, Paths, RoutePath
from engine.core.routing.filter_chain import FilterFaults
from engine.core.routing.open_routes import AnswerMemory, OpenRoutes


class SharedRoutes:
    """What all scenes of one compiled rig share: their memory, and the filters of routes in force in every scene."""

    def __init__(self, everywhere: Paths) -> None:
        self.memory = AnswerMemory()
        self.called = _fresh(everywhere)

    def renew(self, which: Callable[[int, RoutePath], bool], keep_time: bool = False) -> None:
        """Reset the filters with state of these routes (input, route). `keep_time`: see `RoutePath.renewed`."""
        self.called = _renewed(self.called, which, keep_time)

    def take_over(self, before: "SharedRoutes") -> None:
        """Go on with what the same routes remember that were in force before an edit."""
        self.called = before.called + ((),) * (len(self.called) - len(before.called))

    def grow(self, inputs: int) -> None:
        """An edited rig has this many inputs: the new ones lead nowhere here."""
        self.called += ((),) * (inputs - len(self.called))


class SceneInPlay:
    """One scene. `paths[i]` are the routes of input i, those of every scene before its own; `routes`: what is open.

    `places`: where instruments are that are not on their own channels; `bursts`, `entering`, `leaving`: those of the
    compiled scene as they are sent there.
    """

    def __init__(self, compiled: CompiledScene, faults: FilterFaults, shared: SharedRoutes | None = None) -> None:
        """`shared`: with the other scenes of the rig; with none, if it is not given."""
        self.compiled = compiled
        self.number, self.name = compiled.number, compiled.name
        self.paths = tuple(both + own for both, own in zip(compiled.everywhere, compiled.own, strict=True))
        self.shared = shared or SharedRoutes(compiled.everywhere)
        self._faults = faults
        self._all_lasting = tuple(tuple(path for path in listed if not path.keeps_state) for listed in self.paths)
        self._own_called = _fresh(compiled.own)
        self._renews = any(self._own_called)
        self._muted: frozenset[str] = frozenset()
        self._take_places(AT_HOME)
        self._refresh()

    def _refresh(self) -> None:
        """Work out again which routes carry messages, and forget all answers."""
        called = self._open_called()
        lasting = self._unmuted(self._all_lasting)
        self.routes = OpenRoutes(lasting, called, self.shared.memory, self._faults, self.places)
        self.routes.leading()  # a recall will ask for it

    def _take_places(self, places: Places) -> None:
        compiled, self.places = self.compiled, places
        self.bursts = placed_bursts(compiled.bursts, places)
        self.entering = placed_bursts(compiled.entering, places)
        self.leaving = placed_bursts(compiled.leaving, places)

    def _call_unmuted(self) -> None:
        self.routes = self.routes.with_called(self._open_called())

    def _open_called(self) -> Paths:
        self._shared_called = self.shared.called
        return self._unmuted(self._all_called())

    def _all_called(self) -> Paths:
        return tuple(shared + own for shared, own in zip(self.shared.called, self._own_called, strict=True))

    def enter(self, muted: frozenset[str], places: Places = AT_HOME) -> None:
        """The scene comes into force: its own filters with state are reset, as the gear was set to rest meanwhile.

        `places`: where instruments are that are not on their own channels.
        """
        if self._renews:
            self._own_called = _renewed(self._own_called, lambda source, path: True)
        if places != self.places:
            self._take_places(places)
            self._muted = muted
            self._refresh()
        elif muted != self._muted:
            self.mute(muted)
        elif self._renews or self.shared.called is not self._shared_called:
            self._call_unmuted()

    def move(self, places: Places) -> None:
        """The scene plays on, with the instruments elsewhere."""
        if places != self.places:
            self._take_places(places)
            self._refresh()

    def renew(self, which: Callable[[int, RoutePath], bool], keep_time: bool = False) -> None:
        """Reset its own filters with state; `SharedRoutes.renew` has reset those of routes of every scene."""
        self._own_called = _renewed(self._own_called, which, keep_time)
        self._call_unmuted()

    def stay(self, inputs: int, faults: FilterFaults) -> None:
        """This scene plays on in an edited rig with this many inputs: the new ones lead nowhere."""
        more = ((),) * (inputs - len(self.paths))
        self.shared.grow(inputs)
        self.paths += more
        self._all_lasting += more
        self._own_called += more
        self.routes.grow(inputs)
        self._faults = self.routes.faults = faults

    def mute(self, routes: frozenset[str]) -> None:
        """Only routes and groups of these names are muted from now on."""
        if routes != self._muted:
            self._muted = routes
            self._refresh()

    def keeping_state(self, route: str) -> set[tuple[int, bool]]:
        """Where this route or group has filters with state: each input, and whether it is in force in every scene."""
        return {
            (source, path.lasting)
            for source, listed in enumerate(self._all_called())
            for path in listed
            if path.is_called(route)
        }

    def _unmuted(self, paths: Paths) -> Paths:
        muted = self._muted
        return tuple(tuple(path for path in listed if muted.isdisjoint((path.route, path.group))) for listed in paths)

    def reach(self, source: int) -> set[int]:
        """All outputs that routes of this input lead to, whatever their filters let through."""
        return {output for path in self.paths[source] for output in path.outputs}


def _fresh(paths: Paths) -> Paths:
    """Those with state, made again: what was compiled may be in play already, in the rig before an edit."""
    keeping_state = tuple(tuple(path for path in listed if path.keeps_state) for listed in paths)
    return _renewed(keeping_state, lambda source, path: True)


def _renewed(paths: Paths, which: Callable[[int, RoutePath], bool], keep_time: bool = False) -> Paths:
    return tuple(
        tuple(path.renewed(keep_time) if which(source, path) else path for path in listed)
        for source, listed in enumerate(paths)
    )
