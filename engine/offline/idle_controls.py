"""Controls that never count, and lights that never light: they are for others than those whose scenes they name."""

from collections.abc import Iterable, Iterator, Sequence

from engine.offline.rig_finding import RigFinding
from engine.plurals import some
from engine.rig.lowering.lowered_scene import Lowering
from engine.rig.models.rig import Rig


def idle_controls(rig: Rig) -> Iterator[RigFinding]:
    """All of a rig, which has passed the checks."""
    if not rig.players:
        return
    whose = {source: player.name for player in rig.players for source in player.inputs}
    owners = _Owners(rig, whose)
    for place, control in enumerate(rig.controls):
        own = whose.get(control.input, "")
        if control.players and own and own not in control.players:
            text = (
                f"the control at {control.input} is for {some(control.players)}, but {control.input} is an input of "
                f"{own}, so it never counts; leave out players, or name another input"
            )
            yield RigFinding(("controls", place, "players"), None, text)
            continue
        players = (own,) if own or not control.players else control.players
        for key, others in (("scenes", owners.of(control.scenes)), ("songs", owners.of_songs(control.songs))):
            if others and others.isdisjoint(players):
                text = (
                    f"the control at {control.input} is for {_called(players)}, but its {key} are for "
                    f"{_called(sorted(others))}, so it never counts; name {key} of {_called(players)}"
                )
                yield RigFinding(("controls", place, key), None, text)
    for place, tally in enumerate(rig.tallies):
        when = tally.when
        others = owners.of(() if when.scene is None else (when.scene,))
        others |= owners.of_songs(() if when.song is None else (when.song,))
        if when.player is not None and others and when.player not in others:
            text = (
                f"this light is for {when.player}, but what it names is for {_called(sorted(others))}, so it is "
                f"never on; name what {when.player} plays"
            )
            yield RigFinding(("tallies", place, "when"), None, text)


class _Owners:
    """Whose scenes and songs are: by the inputs that they play. A scene that plays none may be anybody's."""

    def __init__(self, rig: Rig, whose: dict[str, str]) -> None:
        self._rig, lowering = rig, Lowering(rig)
        self._owners = {
            scene.number: {whose.get(name, "") for route in lowering.lowered(scene).routes for name in route.source}
            for scene in rig.scenes
        }

    def of(self, scenes: Iterable[int | str]) -> set[str]:
        """Those for whom these scenes are, none if one of them may be anybody's."""
        found = [self._owners[scene.number] for each in scenes if (scene := self._rig.scene(each)) is not None]
        return set[str]().union(*found) if all(found) else set()

    def of_songs(self, songs: Iterable[str]) -> set[str]:
        """The same for the scenes of these songs."""
        return self.of(scene for song in self._rig.songs if song.name in set(songs) for scene in song.scenes)


def _called(players: Sequence[str]) -> str:
    return some([player or "the rest of the rig" for player in players])
