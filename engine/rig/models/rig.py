"""The rig file as models: its tables and keys. Checks that compare two places of the file are in `cross_checks`."""

from collections.abc import Callable
from functools import cache, reduce
from operator import or_
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    WrapSerializer,
    WrapValidator,
    create_model,
    model_validator,
)

from engine.midi.message_words import MiddleC
from engine.midi.show_control import plain_cue
from engine.rig.models.control import Control, Osc, RemoteControl
from engine.rig.models.feedback import MOST_DISPLAYS, MOST_TALLIES, Display, Tally
from engine.rig.models.formats import Since
from engine.rig.models.mpe_zone import MpeZone
from engine.rig.models.network import Network
from engine.rig.models.player import Player
from engine.rig.models.printed_labels import Labels, check_labels
from engine.rig.models.references import Reference
from engine.rig.models.scene_lines import Chain, PlayLine, Sending
from engine.rig.models.sync import Sync, place_in_code
from engine.rig.models.values import (
    Bank,
    BankUse,
    Channel,
    Channels,
    Inputs,
    KeyNames,
    Name,
    NamesOrNone,
    Nanoseconds,
    Outputs,
    Part,
    Plain,
    PrintedProgram,
    Scenes,
    SetupLines,
    ShownText,
    Songs,
    Stops,
    Tempo,
    Text,
    WholeSysEx,
    between,
)
from filters.registry import registry

SCENE_NUMBERS = (1, 16384)  # first and last; two data bytes of MIDI hold as many


class RigTable(Part):
    name: Plain = "Untitled rig"
    start: Annotated[str | int, Reference("scenes", word="last")] = "last"
    middle_c: Annotated[MiddleC, Since(2)] = "C4"  # how the gear prints note 60


class _Port(Part):
    port: Text | None = None
    device: Text | None = None
    machine: Annotated[Text | None, Reference("machines")] = None  # the one it is plugged into

    @model_validator(mode="after")
    def _one_place(self) -> "_Port":
        if sum(each is not None for each in self.where) != 1:
            raise ValueError(f"give either port (a pattern on the system's port name) or device (a path){self._or()}")
        return self

    @property
    def where(self) -> tuple[str | None, ...]:
        """Which port of its machine it is."""
        return self.port, self.device

    def _or(self) -> str:
        return ""


def _keyboard(found: str) -> str:
    """A pattern that begins with a wildcard might take the keyboard of this computer while the one meant is away."""
    if found[:1] in ("*", "?", "["):
        raise ValueError('the name of a keyboard from its beginning, such as "Page turner*"')
    return found


class Input(_Port):
    """`keyboard`: instead of a port, a computer keyboard or page-turn pedal, by a pattern on its name.

    `mpe`: the zone of an MPE controller; `stop`: what it never sends on; `through`: filters before every route and line
    from it.
    """

    keyboard: Annotated[Text | None, AfterValidator(lambda found: found and _keyboard(found)), Since(2)] = None
    mpe: Annotated[MpeZone | None, Since(2)] = None
    stop: Annotated[Stops, Since(2)] = ()
    through: Annotated[Chain, Reference("chains", many=True), Since(2)] = ()

    @property
    def where(self) -> tuple[str | None, ...]:
        """Which port of its machine it is."""
        return self.port, self.device, self.keyboard

    def _or(self) -> str:
        return ", or keyboard (a pattern on the name of a keyboard)"


class Output(_Port):
    wire: Literal["din", "fast"] = "fast"
    running_status: bool = False
    active_sensing: bool = False


class Sound(Part):
    """A program, or any messages in words with the time that they take to act (ns), or these and then a program.

    `printed`: how the gear prints the program; the reading of a rig fills in the program that belongs to it.
    """

    bank: Bank | None = None
    program: PrintedProgram | None = None
    printed: Annotated[Name | None, Since(2)] = None
    send: Annotated[SetupLines, Since(2)] = ()
    settle: Annotated[Nanoseconds | None, Since(2)] = None

    @model_validator(mode="after")
    def _one_way(self) -> "Sound":
        by_program = self.program is not None or self.printed is not None
        if not by_program and not self.send:
            raise ValueError("a sound takes program, or send, or both: send goes first")
        if not by_program and self.bank is not None:
            raise ValueError("bank goes with program; leave it out, or select the bank in send")
        return self


class Instrument(Part):
    """`channel`: its own; that of an instrument with an MPE zone is the manager channel, which is filled in."""

    output: Annotated[str, Reference("outputs")]
    channel: Channel
    mpe: Annotated[MpeZone | None, Since(2)] = None
    pressure: Annotated[Literal["channel", "keys"], Since(2)] = "channel"  # what it knows of a zone's fingers
    like: Text | None = None  # a template in presets/instruments.toml that supplies missing keys
    bank: BankUse = "msb lsb"
    settle: Nanoseconds = 0
    always: Annotated[bool, Since(2)] = False  # its program is sent at every recall
    programs_from: Literal[0, 1] = 1
    labels: Annotated[Labels | None, BeforeValidator(check_labels), Since(2)] = None  # how it prints its programs
    sounds_from: Text | None = None  # a sound list, read into `sounds`; sounds given there override it
    setup: SetupLines = ()  # sent before the sounds, at the start and when the output is reconnected
    request: WholeSysEx | None = None  # requests a dump of its memory
    through: Annotated[Chain, Reference("chains", many=True), Since(2)] = ()  # after every route, on its channel
    drums: Annotated[bool, Since(2)] = False  # no scene, song or step transposes it
    keys: Annotated[KeyNames, Since(2)] = Field(default_factory=dict)  # what its keys are called, if not as in GM
    spare: Annotated[Channels, Since(2)] = ()  # channels that a new sound takes while notes sound on its own
    sounds: dict[Plain, Sound] = Field(default_factory=dict)

    @property
    def channels(self) -> tuple[int, ...]:
        """All channels that it receives on, its own first."""
        return self.mpe.zone.channels if self.mpe is not None else (self.channel, *self.spare)


class BurstStep(Part):
    """Either an instrument with a sound (or a program), or an output with a channel and a program.

    A step with neither sound nor program is blank: it keeps its place and sends nothing.
    """

    instrument: Annotated[str | None, Reference("instruments")] = None
    sound: str | None = None
    output: Annotated[str | None, Reference("outputs")] = None
    channel: Channel | None = None
    bank: Bank | None = None
    program: PrintedProgram | None = None

    @model_validator(mode="after")
    def _one_way(self) -> "BurstStep":
        if (self.instrument is None) == (self.output is None):
            raise ValueError("give either instrument or output")
        lonely_bank = self.bank is not None and self.program is None
        if self.output is not None and (self.channel is None or self.sound is not None or lonely_bank):
            raise ValueError("a step for an output takes channel, program and optionally bank, but no sound")
        if self.instrument is not None and self.channel is not None:
            raise ValueError("leave out channel; the instrument has its own")
        if self.sound is not None and self.program is not None:
            raise ValueError("a step for an instrument takes either sound or program")
        if self.sound is not None and self.bank is not None:
            raise ValueError("leave out bank; the sound has its own")
        if lonely_bank:
            raise ValueError("a bank takes effect only with a program; give program, or leave out bank")
        return self

    @property
    def blank(self) -> bool:
        """Whether it sends nothing."""
        return self.sound is None and self.program is None


class SongTable(Part):
    """Scenes in order. `transpose`: semitones, for all play lines while it is in force; `tempo`: at its beginning."""

    name: Name
    transpose: Annotated[int, between(-127, 127)] = 0
    tempo: Tempo | None = None
    text: ShownText | None = None
    scenes: Scenes


class SetList(Part):
    """Scenes or songs in playing order."""

    name: Name
    scenes: Scenes = ()
    songs: Annotated[Songs, Since(2)] = ()

    @model_validator(mode="after")
    def _one_kind(self) -> "SetList":
        if bool(self.scenes) == bool(self.songs):
            raise ValueError("a set list takes either scenes or songs")
        return self


class Route(Part):
    """One route. The union of all filters' settings, for `through`, is made at run time.

    `group`: a name under which it is muted together with others.
    """

    name: Plain | None = None
    group: Annotated[Name | None, Since(2)] = None
    source: Inputs = Field(alias="from")
    to: Outputs
    through: Annotated[Chain, Reference("chains", many=True)] = ()


class Scene(Part):
    """`like`: the scene that this one is like, but for what it says itself (see `engine.rig.lowering`).

    `cue`: the label in the prompt book; `text`: shown to the player; `transpose`: semitones, for all play lines;
    `enter`, `leave`: what is sent when the scene comes and goes.
    """

    number: Annotated[int, between(*SCENE_NUMBERS)]
    name: Name
    cue: Annotated[Name | None, Since(2)] = None
    like: Annotated[int | str | None, Reference("scenes"), Since(2)] = None
    text: Annotated[ShownText | None, Since(2)] = None
    tempo: Annotated[Tempo | None, Since(2)] = None
    transpose: Annotated[int, between(-127, 127), Since(2)] = 0
    at: Annotated[str, AfterValidator(place_in_code)] | None = None
    held: Literal["ring", "cut"] = "ring"
    play: Annotated[tuple[PlayLine, ...], Since(2)] = ()
    routes: tuple[Route, ...] = ()
    burst: tuple[BurstStep, ...] = ()
    enter: Annotated[tuple[Sending, ...], Since(2)] = ()
    leave: Annotated[tuple[Sending, ...], Since(2)] = ()


class Rig(Part):
    """A whole rig file."""

    format: Literal[1, 2]
    include: Annotated[NamesOrNone, Since(2)] = ()  # files beside this one, with ports, instruments and chains
    rig: RigTable = RigTable()
    inputs: dict[str, Input] = Field(default_factory=dict)
    outputs: dict[str, Output] = Field(default_factory=dict)
    instruments: dict[str, Instrument] = Field(default_factory=dict)
    chains: Annotated[dict[Plain, Chain], Since(2)] = Field(default_factory=dict)
    routes: tuple[Route, ...] = ()
    scenes: Annotated[tuple[Scene, ...], Field(min_length=1)]
    songs: Annotated[tuple[SongTable, ...], Since(2)] = ()
    setlists: tuple[SetList, ...] = ()
    players: Annotated[tuple[Player, ...], Since(2)] = ()
    controls: tuple[Control, ...] = ()
    tallies: Annotated[tuple[Tally, ...], Since(2)] = ()
    displays: Annotated[tuple[Display, ...], Since(2)] = ()
    sync: Sync = Sync()
    remote: RemoteControl | None = None
    osc: Osc | None = None
    network: Network | None = None

    def scene(self, wanted: int | str) -> Scene | None:
        """The scene with this number, name or cue; given as text, a name comes first, then a number, then a cue."""
        for scene in self.scenes:
            if wanted in (scene.name, scene.number):
                return scene
        if not isinstance(wanted, str):
            return None
        # Python refuses to read numbers with thousands of digits
        short = wanted.isascii() and wanted.isdecimal() and len(wanted) < 10
        return (self.scene(int(wanted)) if short else None) or self.cued(wanted)

    def cued(self, cue: str) -> Scene | None:
        """The scene with this label in the prompt book; zeros before it do not matter."""
        plain = plain_cue(cue)
        return next((each for each in self.scenes if each.cue is not None and plain_cue(each.cue) == plain), None)

    def scene_of_cue(self, cue: str) -> Scene | None:
        """The scene that show control means by this cue: the one so labelled, or of this number."""
        numbered = self.scene(int(cue)) if cue.isdecimal() and len(cue) < 10 else None
        return self.cued(cue) or numbered

    def home(self, port: Input | Output) -> str | None:
        """The machine that a port is plugged into; None in a rig on one machine."""
        return self.network.home(port.machine) if self.network is not None else None

    def is_remote(self, port: Input | Output) -> bool:
        """Whether a port is plugged into another machine."""
        return self.network is not None and self.home(port) != self.network.machine

    def on(self, machine: str) -> "Rig":
        """The same rig as seen from another of its machines. Raises ValueError with a sentence."""
        if self.network is None:
            raise ValueError("--machine goes with a rig that has a [network]; this one has none")
        if machine not in self.network.machines:
            raise ValueError(f'there is no machine "{machine}"; there are: {", ".join(self.network.machines)}')
        return self.model_copy(update={"network": self.network.model_copy(update={"machine": machine})})


def rig_model() -> type[Rig]:
    """The model of a rig file with this installation's filters in it."""
    return rig_models()["Rig"]


@cache
def rig_models() -> dict[str, type[Any]]:
    """By name, the models that know this installation's filters: `through` becomes their tagged union."""
    union: Any = reduce(or_, (entry.settings for entry in registry().values()))
    either = (WrapValidator(_or_chain), WrapSerializer(_or_chain), _OrName())
    one = Annotated[union, Field(discriminator="filter"), *either]
    listed = BeforeValidator(lambda found: tuple(found) if isinstance(found, list) else found)

    def many(item: Any) -> Any:
        return Annotated[tuple[item, ...], listed]

    def with_filters(base: type[Part], **fields: Any) -> Any:
        return create_model(base.__name__, __base__=base, **fields)

    def by_name(item: Any) -> Any:
        return dict[str, item], Field(default_factory=dict)

    chain = (Annotated[many(one), Reference("chains", many=True)], ())
    new_chain = (Annotated[many(one), Reference("chains", many=True), Since(2)], ())
    route, line = with_filters(Route, through=chain), with_filters(PlayLine, through=chain)
    source, gear = with_filters(Input, through=new_chain), with_filters(Instrument, through=new_chain)
    new_lists = {key: (Annotated[many(item), Since(2)], ()) for key, item in _new_lists(line).items()}
    scene = with_filters(Scene, routes=(many(route), ()), burst=(many(BurstStep), ()), **new_lists)
    rig = with_filters(
        Rig,
        inputs=by_name(source),
        instruments=by_name(gear),
        chains=(Annotated[by_name(many(one))[0], Since(2)], Field(default_factory=dict)),
        routes=(many(route), ()),
        scenes=(Annotated[many(scene), Field(min_length=1)], ...),
        songs=(Annotated[many(SongTable), Since(2)], ()),
        setlists=(many(SetList), ()),
        players=(Annotated[many(Player), Since(2)], ()),
        controls=(many(Control), ()),
        tallies=(Annotated[many(Tally), Since(2), Field(max_length=MOST_TALLIES)], ()),
        displays=(Annotated[many(Display), Since(2), Field(max_length=MOST_DISPLAYS)], ()),
    )
    return {made.__name__: made for made in (route, line, source, gear, scene, rig)}


def _new_lists(line: type[PlayLine]) -> dict[str, type[Part]]:
    """The lists of a scene that came with format 2."""
    return {"play": line, "enter": Sending, "leave": Sending}


class _OrName:
    """In the JSON schema: the name of a chain may stand in the place of a filter."""

    def __get_pydantic_json_schema__(self, schema: Any, handler: Callable[[Any], dict[str, Any]]) -> dict[str, Any]:
        return {"anyOf": [handler(schema), {"type": "string"}]}


def _or_chain(found: Any, filter_of: Callable[[Any], Any]) -> Any:
    """A filter, which is read or written by `filter_of`, or the name of a chain as it is."""
    return found if isinstance(found, str) else filter_of(found)
