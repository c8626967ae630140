"""The settings of a filter in a musician's words: "channel 1 to 5" for `filter = "channels", map = { 1 = 5 }`."""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, Final

from engine.midi.message_words import MiddleC, note_name
from engine.plurals import counted, plural
from filters.registry import FilterSettings

NameOf = Callable[[int], object]


def filter_in_words(settings: FilterSettings, middle_c: MiddleC = "C4") -> str:
    """The settings that the rig file gives, separated by commas; just the name of a filter without settings.

    Note 60 is `middle_c`.
    """
    given = settings.model_dump(by_alias=True, exclude_unset=True)
    name = given.pop("filter")
    return ", ".join(_setting(name, key, value, middle_c) for key, value in given.items()) or name


def link_in_words(link: FilterSettings | str, middle_c: MiddleC = "C4") -> str:
    """A filter of a chain, or a chain that it names."""
    return f'chain "{link}"' if isinstance(link, str) else filter_in_words(link, middle_c)


def _setting(name: str, key: str, value: Any, middle_c: MiddleC) -> str:
    if (name, key) in NOTE_WORDS:
        return NOTE_WORDS[name, key](value, partial(note_name, middle_c=middle_c))
    words = WORDS.get((name, key))
    if words is not None:
        return words(value)
    return f"{name} {key}" if value is True else f"{name} {key} {_plain(value)}"


def _plain(value: Any) -> str:
    """What a plug-in's setting may be, on one line."""
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_plain(each)}" for key, each in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(map(_plain, value))
    return str(value)


def _mapped(noun: str, name: NameOf = int) -> Callable[[dict[int, int]], str]:
    return lambda table: ", ".join(f"{noun} {name(old)} to {name(new)}" for old, new in table.items())


def _numbers(noun: str, found: tuple[int, ...]) -> str:
    return f"{plural(len(found), noun)} {', '.join(map(str, found))}"


def _ends(noun: str, name: NameOf = int) -> Callable[[tuple[int, int]], str]:
    return lambda ends: f"{noun} {name(ends[0])} to {name(ends[1])}"


def _bank_before(program: int, sound: dict[str, Any]) -> str:
    new = sound.get("program")
    changed = f", sent as program {new}" if new is not None else ""
    return f"bank {bank_in_words(sound['bank'])} before program {program}{changed}"


def bank_in_words(bank: tuple[int, int]) -> str:
    """MSB and LSB as "2/0"."""
    return f"{bank[0]}/{bank[1]}"


#: by filter and key; what is not here is said with the filter's name and the key
WORDS: Final[dict[tuple[str, str], Callable[[Any], str]]] = {
    ("add_bank", "channels"): lambda table: ", ".join(
        f"bank {bank_in_words(bank)} on channel {channel}" for channel, bank in table.items()
    ),
    ("add_bank", "programs"): lambda table: ", ".join(_bank_before(program, sound) for program, sound in table.items()),
    ("catch", "controllers"): lambda found: f"{_numbers('controller', found)} caught",
    ("channels", "keep"): lambda found: f"only {_numbers('channel', found)}",
    ("channels", "drop"): lambda found: f"without {_numbers('channel', found)}",
    ("channels", "map"): _mapped("channel"),
    ("controllers", "keep"): lambda found: f"only {_numbers('controller', found)}",
    ("controllers", "drop"): lambda found: f"without {_numbers('controller', found)}",
    ("controllers", "stretch"): lambda table: ", ".join(
        f"controller {number} stretched from {low} to {high}" for number, (low, high) in table.items()
    ),
    ("controllers", "invert"): lambda found: f"{_numbers('controller', found)} inverted",
    ("controllers", "curve"): lambda table: ", ".join(
        f"controller {number} curve {curve:+d}" for number, curve in table.items()
    ),
    ("controllers", "map"): _mapped("controller"),
    ("controllers", "range"): lambda table: ", ".join(
        f"controller {number} from {low} to {high}" for number, (low, high) in table.items()
    ),
    ("echo", "beats"): lambda beats: f"echo every {beats:g} {'beat' if beats == 1 else 'beats'}",
    ("latch", "controllers"): lambda found: f"{_numbers('controller', found)} latched",
    ("parameters", "keep"): lambda found: f"only {', '.join(found)}",
    ("parameters", "drop"): lambda found: f"without {', '.join(found)}",
    ("parameters", "map"): lambda table: ", ".join(f"{came} to {goes}" for came, goes in table.items()),
    ("parameters", "range"): lambda table: ", ".join(
        f"{name} from {low} to {high}" for name, (low, high) in table.items()
    ),
    ("programs", "map"): _mapped("program"),
    ("strip", "kinds"): lambda found: f"without {', '.join(found).replace('_', ' ')}",
    ("transpose", "semitones"): lambda found: f"transposed by {found:+d} {plural(abs(found), 'semitone')}",
    ("velocity", "fixed"): lambda found: f"velocity fixed at {found}",
    ("velocity", "range"): _ends("velocity scaled to"),
    ("zone", "velocity"): _ends("velocity"),
    ("zone", "fade"): lambda found: f"fade over {counted(found, 'key')}",
}

#: the same for settings with notes, which also take what names a note
NOTE_WORDS: Final[dict[tuple[str, str], Callable[[Any, NameOf], str]]] = {
    ("notes", "map"): lambda table, name: _mapped("note", name)(table),
    ("zone", "notes"): lambda ends, name: _ends("notes", name)(ends),
}
