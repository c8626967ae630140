"""The 128 controllers of MIDI 1.0 as one table, one row each, and the sets that the program derives from it.

Sources: names and pairs, MIDI Association Table 3 and MIDI 1.0 Detailed Specification 4.2.1, Tables III and IV, p. 12;
values at rest, RP-015, and for 2, 68 and 69, which RP-015 leaves open, M2-113-UM appendix A; 88, CA-031. 4 has no rest:
RP-015 leaves it alone, and a part whose level is on a foot pedal would be mute.
"""

from typing import Final, NamedTuple

#: a switch is on from this value (MIDI 1.0 Table III)
ON_FROM: Final = 64

BANK_MSB: Final = 0
MODULATION, VOLUME, PAN, EXPRESSION = 1, 7, 10, 11
REVERB_SEND, CHORUS_SEND = 91, 93
SUSTAIN, SOSTENUTO, HOLD_2 = 64, 66, 69
DATA_MSB: Final = 6
NRPN_LSB, NRPN_MSB, RPN_LSB, RPN_MSB = 98, 99, 100, 101
VELOCITY_PREFIX: Final = 88  # CA-031
ALL_SOUND_OFF, RESET_ALL_CONTROLLERS, LOCAL_CONTROL, ALL_NOTES_OFF = 120, 121, 122, 123
MONO_ON: Final = 126

_FIRST_LSB: Final = 32  # the LSB of controller N (0 to 31) is N + 32
_FIRST_MODE: Final = 120  # channel mode messages look like controllers (MIDI 1.0 Table IV)


class Controller(NamedTuple):
    """One controller.

    `name`: as players call it, empty for one that the standard leaves undefined. `rest`: its value at rest (0 to 127),
    None for one that has no rest. `msb`: for an LSB, the controller whose value it makes finer; a new MSB sets it to 0.
    `keeps_order`: each message counts in its place, so none may be replaced by a newer one, thinned or delayed.
    `momentary`: a pedal or switch, off below 64. `pedal`: one that holds or softens notes. `level`: loudness or a send.
    `parameter`: it selects a registered or other parameter, or sets it (MIDI 1.0 p. 17). `for_next_note`: it says
    something about the note that follows, and nothing once that has begun. `shapes`: it changes notes that sound.
    """

    number: int
    name: str = ""
    rest: int | None = None
    msb: int | None = None
    keeps_order: bool = False
    momentary: bool = False
    pedal: bool = False
    level: bool = False
    parameter: bool = False
    for_next_note: bool = False
    shapes: bool = False


def _shaping(number: int, name: str, rest: int | None = None, level: bool = False) -> Controller:
    return Controller(number, name, rest, level=level, shapes=True)


def _switch(number: int, name: str, pedal: bool = False) -> Controller:
    return Controller(number, name, rest=0, keeps_order=True, momentary=True, pedal=pedal, shapes=True)


def _command(number: int, name: str, rest: int | None = None) -> Controller:
    return Controller(number, name, rest, keeps_order=True)


def _parameter(number: int, name: str, rest: int | None = None) -> Controller:
    return _command(number, name, rest)._replace(parameter=True)


_MSB: Final = (
    _command(BANK_MSB, "bank"),
    _shaping(MODULATION, "modulation", rest=0),
    _shaping(2, "breath", rest=0),
    _shaping(4, "foot controller"),
    _shaping(5, "portamento time"),
    _parameter(DATA_MSB, "data entry"),
    _shaping(7, "volume", level=True),
    _shaping(8, "balance"),
    _shaping(10, "pan"),
    _shaping(EXPRESSION, "expression", rest=127, level=True),
    Controller(12, "effect control 1"),
    Controller(13, "effect control 2"),
    *(Controller(15 + count, f"general purpose {count}") for count in range(1, 5)),
)
_SINGLE: Final = (
    _switch(SUSTAIN, "sustain pedal", pedal=True),
    _switch(65, "portamento switch"),
    _switch(SOSTENUTO, "sostenuto pedal", pedal=True),
    _switch(67, "soft pedal", pedal=True),
    _switch(68, "legato pedal"),
    _switch(HOLD_2, "hold 2 pedal", pedal=True),
    _shaping(70, "sound variation"),
    _shaping(71, "timbre"),
    _shaping(72, "release time"),
    _shaping(73, "attack time"),
    _shaping(74, "brightness"),
    _shaping(75, "decay time"),
    _shaping(76, "vibrato rate"),
    _shaping(77, "vibrato depth"),
    _shaping(78, "vibrato delay"),
    _shaping(79, "sound controller 10"),
    # common practice: buttons, each press of which counts
    *(_command(75 + count, f"general purpose {count}") for count in range(5, 9)),
    Controller(84, "portamento control", keeps_order=True, for_next_note=True),
    Controller(VELOCITY_PREFIX, "high resolution velocity", keeps_order=True, for_next_note=True),
    _shaping(91, "reverb send", level=True),
    _shaping(92, "tremolo depth", level=True),
    _shaping(93, "chorus send", level=True),
    _shaping(94, "celeste depth", level=True),
    _shaping(95, "phaser depth", level=True),
    _parameter(96, "data increment"),
    _parameter(97, "data decrement"),
    # at rest no parameter is selected
    _parameter(NRPN_LSB, "NRPN LSB", rest=127),
    _parameter(NRPN_MSB, "NRPN MSB", rest=127),
    _parameter(RPN_LSB, "RPN LSB", rest=127),
    _parameter(RPN_MSB, "RPN MSB", rest=127),
    _command(ALL_SOUND_OFF, "all sound off"),
    _command(RESET_ALL_CONTROLLERS, "reset all controllers"),
    _command(LOCAL_CONTROL, "local control"),
    _command(ALL_NOTES_OFF, "all notes off"),
    _command(124, "omni off"),
    _command(125, "omni on"),
    _command(MONO_ON, "mono on"),
    _command(127, "poly on"),
)
# Of bank and data entry players name the byte; of the others the MSB alone has the name.
_NAMED_BY_BYTE: Final = (BANK_MSB, DATA_MSB)


def _table() -> tuple[Controller, ...]:
    rows = {number: Controller(number) for number in range(128)} | {row.number: row for row in (*_MSB, *_SINGLE)}
    for number in range(_FIRST_LSB):
        msb, low = rows[number], number + _FIRST_LSB
        rows[low] = msb._replace(number=low, name=f"{msb.name} LSB" if msb.name else "", rest=None, msb=number)
        if number in _NAMED_BY_BYTE:
            rows[number] = msb._replace(name=f"{msb.name} MSB")
    return tuple(rows[number] for number in range(128))


#: the row of controller N is CONTROLLERS[N]
CONTROLLERS: Final = _table()

NAMES: Final = {row.number: row.name for row in CONTROLLERS if row.name}
RESTS: Final = {row.number: row.rest for row in CONTROLLERS if row.rest is not None}
#: by the number of an LSB, that of its MSB
MSB_OF: Final = {row.number: row.msb for row in CONTROLLERS if row.msb is not None}
#: by the number of an MSB, that of its LSB
LSB_OF: Final = {msb: lsb for lsb, msb in MSB_OF.items()}
BANK_LSB: Final = LSB_OF[BANK_MSB]
DATA_LSB: Final = LSB_OF[DATA_MSB]
KEEP_ORDER: Final = frozenset(row.number for row in CONTROLLERS if row.keeps_order)
SWITCHES: Final = frozenset(row.number for row in CONTROLLERS if row.momentary)
PEDALS: Final = tuple(row.number for row in CONTROLLERS if row.pedal)
#: what changes notes that sound, with the LSBs of those
SHAPING: Final = frozenset(row.number for row in CONTROLLERS if row.shapes)
#: pedals under which released notes ring on: sustain, sostenuto, hold 2
HOLDING: Final = (SUSTAIN, SOSTENUTO, HOLD_2)
FOR_NEXT_NOTE: Final = frozenset(row.number for row in CONTROLLERS if row.for_next_note)
MODE_MESSAGES: Final = range(_FIRST_MODE, 128)
#: All Notes Off, All Sound Off, and what implies All Notes Off (MIDI 1.0 p. 24)
ENDS_NOTES: Final = frozenset(MODE_MESSAGES).difference((RESET_ALL_CONTROLLERS, LOCAL_CONTROL))
#: what selects the bank of the next program change
BANKS: Final = (BANK_MSB, BANK_LSB)
#: what selects a registered or other parameter and sets it (MIDI 1.0 p. 17)
PARAMETERS: Final = frozenset(row.number for row in CONTROLLERS if row.parameter)
