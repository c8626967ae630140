"""Everything that can be asked of the engine beside messages and time, each command as a frozen dataclass.

`Engine.apply` carries them out, the flight recorder records them, and a replay repeats them. So a command holds plain
values only: ports by name, messages as bytes. Ports that the rig does not have are passed over.
"""

from dataclasses import dataclass, field
from typing import ClassVar, Final

from engine.core.cable.speed import CableSpeed
from engine.core.compiled import CompiledRig
from engine.core.control.setlist import ShowPosition
from engine.core.routing.scenes_in_play import ScenesInPlay
from engine.core.timing.clock_stand import ClockStand

#: metadata of a field that is not recorded, because it is made from the others
DERIVED: Final = {"derived": True}


class Command:
    """Base of all commands. `word` names the command in recordings, and in the result of a player's command."""

    word: ClassVar[str]


class PlayerCommand(Command):
    """Base of what players ask for. It is refused here while another engine of the network is in charge."""


@dataclass(frozen=True, kw_only=True)
class StackCommand(PlayerCommand):
    """Base of what acts on the stack of one player; `player` "" leaves open which one."""

    player: str = ""


class InputCommand(Command):
    """Base of what concerns one input, by its name."""

    input: str


class OutputCommand(Command):
    """Base of what concerns one output, by its name."""

    output: str


# What players ask for


@dataclass(frozen=True)
class RecallScene(StackCommand):
    """Recall a scene by its number or its name."""

    word: ClassVar[str] = "scene"
    scene: int | str


@dataclass(frozen=True)
class NextScene(StackCommand):
    """Recall the next scene of the set list."""

    word: ClassVar[str] = "next"


@dataclass(frozen=True)
class PreviousScene(StackCommand):
    """Recall the scene before, in the order of the set list."""

    word: ClassVar[str] = "back"


@dataclass(frozen=True)
class FirstScene(StackCommand):
    """Recall the first scene of the set list."""

    word: ClassVar[str] = "first"


@dataclass(frozen=True)
class GoToEntry(StackCommand):
    """Recall the scene at this entry of the set list; the first is 1."""

    word: ClassVar[str] = "entry"
    entry: int


@dataclass(frozen=True)
class ChooseSetlist(StackCommand):
    """Play by another set list; the scene in force stays."""

    word: ClassVar[str] = "setlist"
    setlist: str


@dataclass(frozen=True)
class NextSong(StackCommand):
    """Recall the first scene of the next song in the set list."""

    word: ClassVar[str] = "next song"


@dataclass(frozen=True)
class PreviousSong(StackCommand):
    """Recall the first scene of the song in force or, if that is the present one, of the song before."""

    word: ClassVar[str] = "back song"


@dataclass(frozen=True)
class ChooseSong(StackCommand):
    """Recall the first scene of a song."""

    word: ClassVar[str] = "song"
    song: str


@dataclass(frozen=True)
class Transpose(StackCommand):
    """Transpose all play lines by this many semitones more, or no longer (0); drums are left alone."""

    word: ClassVar[str] = "transpose"
    step: int


@dataclass(frozen=True)
class Panic(PlayerCommand):
    """Silence every output, or one instrument."""

    word: ClassVar[str] = "panic"
    instrument: str | None = None


@dataclass(frozen=True)
class Resend(StackCommand):
    """Send the bank selects and program changes of the scene in force again; of all players, if none is named."""

    word: ClassVar[str] = "resend"


@dataclass(frozen=True)
class TapTempo(PlayerCommand):
    """One tap of the foot for the tempo of the rig's own clock."""

    word: ClassVar[str] = "tap"


@dataclass(frozen=True)
class MuteRoute(PlayerCommand):
    """A named route carries nothing, in every scene, until it is unmuted."""

    word: ClassVar[str] = "mute"
    route: str


@dataclass(frozen=True)
class UnmuteRoute(PlayerCommand):
    """A muted route carries messages again."""

    word: ClassVar[str] = "unmute"
    route: str


@dataclass(frozen=True)
class ToggleRoute(PlayerCommand):
    """A named route is muted, or carries messages again."""

    word: ClassVar[str] = "toggle"
    route: str


@dataclass(frozen=True)
class SendPreset(PlayerCommand):
    """Send the messages that the rig gives to a control, to one output."""

    word: ClassVar[str] = "send"
    output: str
    messages: tuple[bytes, ...]


@dataclass(frozen=True)
class ControlClock(PlayerCommand):
    """To the rig's own clock: "start", "continue", "stop", "tempo" with beats per minute, or "locate" with a song
    position in sixteenths."""

    word: ClassVar[str] = "clock"
    what: str
    value: float | str | None = None


@dataclass(frozen=True)
class ControlTimecode(PlayerCommand):
    """To the rig's own time code: "start", "stop", or "locate" with a place such as "01:00:00:00"."""

    word: ClassVar[str] = "timecode"
    what: str
    value: float | str | None = None


#: the words of the commands that recall a scene
RECALLS: Final = frozenset(
    kind.word
    for kind in (RecallScene, NextScene, PreviousScene, FirstScene, GoToEntry, NextSong, PreviousSong, ChooseSong)
)

# The course of the show


@dataclass(frozen=True)
class Begin(Command):
    """The show begins: start the clock and the time code that the rig says run from the start."""

    word: ClassVar[str] = "begin"


@dataclass(frozen=True)
class ResumePosition(Command):
    """Take the set list and the place in it from an earlier show. Its scene is yet to be recalled.

    `player`: whose; "" is the rest of the rig.
    """

    word: ClassVar[str] = "resume"
    position: ShowPosition
    player: str = ""


@dataclass(frozen=True)
class AdoptRig(Command):
    """Go on with an edited rig.

    `text`: its file; `remote`: the outputs whose cables are at another machine; `compiled`: what was made of both;
    `scenes`: its scenes if they have been made ready.
    """

    word: ClassVar[str] = "rig"
    text: str
    remote: tuple[str, ...]
    compiled: CompiledRig | None = field(default=None, compare=False, repr=False, metadata=DERIVED)
    scenes: ScenesInPlay | None = field(default=None, compare=False, repr=False, metadata=DERIVED)


@dataclass(frozen=True)
class WakeUp(Command):
    """The machine has slept: whatever was held or moved is released, and the sounds are sent again."""

    word: ClassVar[str] = "awake"


@dataclass(frozen=True)
class Finish(Command):
    """The show ends: the rig's own clock stops, every note is released, and every controller comes to rest."""

    word: ClassVar[str] = "finish"


# Ports


@dataclass(frozen=True)
class InputThere(InputCommand):
    """An input's port has been opened, for the first time or again."""

    word: ClassVar[str] = "input there"
    input: str


@dataclass(frozen=True)
class InputLost(InputCommand):
    """An input's port is gone: what it holds is released, and what it moved comes to rest."""

    word: ClassVar[str] = "input lost"
    input: str


@dataclass(frozen=True)
class MessagesWait(Command):
    """Messages wait for so long (ns), on their way in for the engine and on their way out for the fullest cable."""

    word: ClassVar[str] = "messages wait"
    time: int


@dataclass(frozen=True)
class OutputThere(OutputCommand):
    """An output's port has been opened again, or takes messages again.

    `speed`: how its driver is to be paced, None for not at all; `owed`: the releases that it missed.
    """

    word: ClassVar[str] = "output there"
    output: str
    speed: CableSpeed | None = None
    owed: tuple[bytes, ...] = ()


@dataclass(frozen=True)
class OutputTaken(OutputCommand):
    """An output at another machine is played from here now. What its lights and displays show is not known."""

    word: ClassVar[str] = "output taken"
    output: str


@dataclass(frozen=True)
class OutputLeft(OutputCommand):
    """An output is about to be closed: what sounds there is released, and nothing more begins."""

    word: ClassVar[str] = "output left"
    output: str


@dataclass(frozen=True)
class OutputLost(OutputCommand):
    """An output's port is gone."""

    word: ClassVar[str] = "output lost"
    output: str


@dataclass(frozen=True)
class KeepSysexBack(InputCommand):
    """The SysEx of an input takes no routes while `on`, for it is a dump that is being received."""

    word: ClassVar[str] = "keep back"
    input: str
    on: bool


@dataclass(frozen=True)
class SendMessages(Command):
    """Messages for outputs that no input sent, as (output, message) in their order."""

    word: ClassVar[str] = "messages"
    messages: tuple[tuple[str, bytes], ...]


@dataclass(frozen=True)
class PlayTestNote(OutputCommand):
    """A note that nobody plays. `channel`: 0 to 15; `length`: nanoseconds; `velocity`: 1 to 127."""

    word: ClassVar[str] = "test note"
    output: str
    channel: int
    key: int
    length: int
    velocity: int = 64


# Another engine is in charge


@dataclass(frozen=True)
class FollowLeader(Command):
    """This machine is in charge and we follow it; None: we are in charge."""

    word: ClassVar[str] = "led by"
    machine: str | None


@dataclass(frozen=True)
class FollowShow(Command):
    """Be where the engine in charge says that the show is.

    `position`: None before its first scene; `loaded`: the scene that show control has loaded there; `channels`: the
    instruments that are on spare channels there, and these (1 to 16); `players`: where players with scenes of their own
    are, by name, and what is loaded for them.
    """

    word: ClassVar[str] = "follow show"
    position: ShowPosition | None
    muted: tuple[str, ...]
    loaded: int | None = None
    channels: tuple[tuple[str, int], ...] = ()
    players: tuple[tuple[str, ShowPosition, int | None], ...] = ()


@dataclass(frozen=True)
class FollowTime(Command):
    """Clock and time code run, or stop, as those of the engine in charge did `age` nanoseconds ago.

    `timecode`: where it began to run and for how long it has run (ns), or where it stopped and None.
    """

    word: ClassVar[str] = "follow time"
    age: int
    clock: ClockStand | None
    timecode: tuple[str, int | None] | None


def _all_commands(base: type[Command] = Command) -> dict[str, type[Command]]:
    found: dict[str, type[Command]] = {}
    for each in base.__subclasses__():
        found |= {each.word: each} if "word" in vars(each) else _all_commands(each)
    return found


#: every command by its word
COMMANDS: Final[dict[str, type[Command]]] = _all_commands()
