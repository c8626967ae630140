"""What a control does: one action or several, each a word or a table."""

from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator, Discriminator, Tag, model_validator

from engine.rig.models.formats import Since
from engine.rig.models.references import Reference
from engine.rig.models.values import Name, Part, SetupLines, Tempo, Text, between

Word = Literal[
    "scene",
    "next",
    "back",
    "first",
    "next song",
    "back song",
    "panic",
    "resend",
    "tap",
    "clock start",
    "clock continue",
    "clock stop",
    "timecode start",
    "timecode stop",
    "mute",
    "unmute",
    "send",
]
_KINDS: Final = ("scene", "song", "setlist", "toggle", "mute", "unmute", "transpose", "tempo", "send")
_NEW_WORDS: Final = ("next song", "back song")
Routes = Annotated[Text | None, Reference("routes")]


class ActionTable(Part):
    """Exactly one action; `to` or `on` says where `send` goes: an output, or an instrument on its channel.

    `transpose`: a semitone up (1) or down (-1) for all play lines, or back to none (0).
    """

    scene: Annotated[int | str | None, Reference("scenes")] = None
    song: Annotated[Name | None, Reference("songs")] = None
    setlist: Annotated[Name | None, Reference("set lists")] = None
    toggle: Routes = None
    mute: Routes = None
    unmute: Routes = None
    transpose: Annotated[int | None, between(-1, 1)] = None
    tempo: Tempo | None = None
    send: SetupLines = ()
    to: Annotated[str | None, Reference("outputs")] = None
    on: Annotated[str | None, Reference("instruments")] = None

    @model_validator(mode="after")
    def _one_action(self) -> "ActionTable":
        given = [kind for kind in _KINDS if kind in self.model_fields_set]
        if len(given) != 1:
            raise ValueError(f"an action is exactly one of {', '.join(_KINDS)}")
        places = (self.to is not None) + (self.on is not None)
        if bool(self.send) != ("send" in given) or places != ("send" in given):
            raise ValueError('send takes a list of messages, and either to = "OUTPUT" or on = "INSTRUMENT"')
        return self

    @property
    def words(self) -> str:
        """ "toggle brass", "send stop to looper" """
        if self.send:
            return f"send {', '.join(self.send)} to {self.on or self.to}"
        kind = next(each for each in _KINDS if each in self.model_fields_set)
        value = getattr(self, kind)
        what = {"setlist": "set list"}.get(kind, kind)
        return f"{what} {value:g}" if isinstance(value, float) else f"{what} {value}"


def _listed(found: Any) -> Any:
    if found == []:
        raise ValueError("an action, or a list of at least one")
    return tuple(found) if isinstance(found, list) else found


def _kind(found: Any) -> str:
    if isinstance(found, tuple):
        return "several actions"
    return "an action's table" if isinstance(found, dict | ActionTable) else "an action's word"


def _is_new(found: Any) -> bool:
    """Whether a version 1 rig did not know it."""
    return isinstance(found, list | dict) or found in _NEW_WORDS


_One = Annotated[
    Annotated[Word, Tag("an action's word")] | Annotated[ActionTable, Tag("an action's table")], Discriminator(_kind)
]
Actions = Annotated[
    Annotated[Word, Tag("an action's word")]
    | Annotated[ActionTable, Tag("an action's table")]
    | Annotated[tuple[_One, ...], Tag("several actions")],
    Discriminator(_kind),
    BeforeValidator(_listed),
    Since(2, _is_new),
]
