"""All scenes of one compiled rig, made ready to play at once, so that a recall makes nothing.

It takes about 40 µs for each scene of a large rig: for an edited rig, make it beside the music, in a thread.
"""

from collections.abc import Collection, Iterable, Mapping

from engine.core.routing.compiled_scene import CompiledScene
from engine.core.routing.filter_chain import FilterFaults
from engine.core.routing.scene_in_play import SceneInPlay, SharedRoutes


class ScenesInPlay:
    """`by_number`: the scenes as they are written; `shared`, `faults`: what they share. There is at least one."""

    def __init__(self, scenes: Mapping[int, CompiledScene], transposed: Iterable[tuple[int, int]] = ()) -> None:
        """`transposed`: the scenes that songs transpose, by number, and how far: they are made ready, too."""
        self.faults = FilterFaults()
        self.shared = SharedRoutes(next(iter(scenes.values())).everywhere)
        self.by_number = {number: SceneInPlay(each, self.faults, self.shared) for number, each in scenes.items()}
        moved = [(number, by) for number, by in transposed if by and scenes[number].may_be_transposed]
        self._of_songs = {(number, by): self._made(number, by) for number, by in moved}
        self._by_foot: dict[tuple[int, int], SceneInPlay] = {}

    def at(self, number: int, transposed: int) -> SceneInPlay:
        """A scene with its play lines transposed by so many semitones. Any thread: what is made twice is the same.

        Nobody knows before how far the foot goes: what it transposes is made when it is first asked for, some 20 µs for
        each line. So ask for all that is in `by_step` beside the music.
        """
        plain = self.by_number[number]
        if not transposed or not plain.compiled.may_be_transposed:
            return plain
        key = number, transposed
        found = self._of_songs.get(key) or self._by_foot.get(key)
        if found is None:
            found = self._by_foot.setdefault(key, self._made(number, transposed))
        return found

    def by_step(self, step: int) -> list[tuple[int, int]]:
        """What may be recalled while the foot transposes by so many semitones: scenes by number, and how far."""
        plain = [(number, step) for number in self.by_number]
        return [*plain, *((number, by + step) for number, by in self._of_songs if by + step)]

    def forget_steps(self, playing: Collection[SceneInPlay] = ()) -> None:
        """The foot has transposed all by another step, but for these scenes, which other players have in force."""
        for key, scene in list(self._by_foot.items()):  # a thread may be making more of them
            if scene not in playing:
                self._by_foot.pop(key, None)

    def _made(self, number: int, transposed: int) -> SceneInPlay:
        return SceneInPlay(self.by_number[number].compiled.moved(transposed), self.faults, self.shared)

    def keep(self, scene: SceneInPlay, transposed: int) -> None:
        """A scene of the rig before is part of this one, too, with all that its filters remember."""
        if not transposed or not scene.compiled.may_be_transposed:
            self.by_number[scene.number] = scene
        elif (key := (scene.number, transposed)) in self._of_songs:
            self._of_songs[key] = scene
        else:
            self._by_foot[key] = scene
