"""A stack: what one player plays by, or the rest of the rig: the scene in force, set list and place, song and step."""

from engine.core.control.control_matching import Playing
from engine.core.control.setlist import SetListPlace, ShowPosition
from engine.core.routing.scene_in_play import SceneInPlay


class Stack:
    """`name`: the player's, "" for the rest of the rig. Only the engine and its parts change it.

    `sources`: the inputs that play by it; `scene`: in force, None before the first; `song`: in force; `step`: semitones
    by which the foot has transposed all play lines; `recalled_at`: when the scene was recalled (ns).
    """

    def __init__(self, name: str, setlist: SetListPlace) -> None:
        self.name, self.setlist = name, setlist
        self.sources: frozenset[int] = frozenset()
        self.scene: SceneInPlay | None = None
        self.song: str | None = None
        self.step = 0
        self.recalled_at = 0

    @property
    def in_force(self) -> tuple[int, str] | None:
        """Number and name of the scene in force."""
        return (self.scene.number, self.scene.name) if self.scene else None

    @property
    def playing(self) -> Playing | None:
        """Scene and song in force."""
        return Playing(self.scene.number, self.scene.name, self.song) if self.scene else None

    @property
    def position(self) -> ShowPosition | None:
        """Where the show is; None before the first scene."""
        if self.scene is None:
            return None
        return ShowPosition(self.scene.number, self.setlist.name or "", self.setlist.place, self.song or "", self.step)
