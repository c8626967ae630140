"""Sound lists: files that name an instrument's sounds, for `sounds_from`.

A list is TOML: `format = 1`, `programs_from` (0 or 1) and `sounds`, each with name, program (or `printed`, the label
that the gear prints) and optionally bank.
A list in presets/sounds is given by its bare name; anything else is a path, relative to the rig file.
"""

from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, BeforeValidator, Field, ValidationError, ValidationInfo

from engine.plurals import counted
from engine.regular_files import NotRegular, TooLong, decoded, read_regular
from engine.rig.models.values import Bank, Name, Part, PrintedProgram
from engine.rig.read.included import named_files
from engine.rig.read.raw_data import Complaint
from engine.rig.read.toml_errors import TomlError
from engine.rig.read.toml_layout import line_of, lines_of
from engine.rig.read.toml_limits import LONGEST_TEXT
from engine.rig.read.toml_text import parsed
from engine.user_error import UserError

_LISTED: Final = 100  # mistakes that are listed; of the others only the number is given


class SoundListError(UserError):
    """A sound list cannot be used; the text begins with FILE:LINE and says what is wrong and what is allowed."""


def _or_printed(program: int | None, known: ValidationInfo) -> int | None:
    if program is None and known.data.get("printed") is None:
        raise ValueError("program, or printed with the label of the gear")
    return program


class ListedSound(Part):
    name: Name
    bank: Bank | None = None
    printed: Name | None = None  # how the gear prints the program
    program: Annotated[PrintedProgram | None, AfterValidator(_or_printed), Field(validate_default=True)] = None


class SoundList(Part):
    format: Literal[1]
    name: str = ""
    source: str = ""
    programs_from: Literal[0, 1] = 1
    sounds: Annotated[
        tuple[ListedSound, ...], BeforeValidator(lambda found: tuple(found) if isinstance(found, list) else found)
    ]


def shipped() -> list[str]:
    """The names of the sound lists in presets."""
    folder = files("presets").joinpath("sounds")
    return sorted(each.name.removesuffix(".toml") for each in folder.iterdir() if each.name.endswith(".toml"))


def sound_list(wanted: str, folder: Path) -> SoundList:
    """The list with this name or path. Raises SoundListError."""
    if wanted in shipped():
        return read_list(files("presets").joinpath("sounds", f"{wanted}.toml").read_text(encoding="utf-8"), wanted)
    path = folder / wanted
    try:
        return read_list(decoded(read_regular(path, LONGEST_TEXT)), str(path))
    except FileNotFoundError:
        names = ", ".join(shipped())
        raise SoundListError(
            f"{path}:1: there is no such sound list; give a file, or one of the built-in lists: {names}"
        ) from None
    except UnicodeDecodeError:
        raise SoundListError(f"{path}:1: this is not UTF-8 text; save the file as UTF-8") from None
    except NotRegular:
        raise SoundListError(f"{path}:1: this is not a regular file; name a sound list") from None
    except TooLong:
        raise SoundListError(f"{path}:1: a sound list may have at most {LONGEST_TEXT // 1_000_000} MB") from None
    except (OSError, ValueError) as fault:
        raise SoundListError(f"{path}:1: the sound list cannot be read: {fault}") from None


def read_list(text: str, source: str) -> SoundList:
    """The list in a text; `source` names it in errors. Raises SoundListError."""
    try:
        found = SoundList.model_validate(parsed(text))
    except TomlError as fault:
        raise SoundListError(f"{source}:{fault.line}: {fault.text}") from None
    except ValidationError as faults:
        raise SoundListError("\n".join(_mistakes(faults, text, source))) from None
    seen: set[str] = set()
    for place, sound in enumerate(found.sounds):
        line = line_of(lines_of(text), ("sounds", place)) if sound.name in seen or _outside(sound, found) else 0
        if sound.name in seen:
            raise SoundListError(f'{source}:{line}: a second sound named "{sound.name}"; give it another name')
        if line:
            first = found.programs_from
            raise SoundListError(f"{source}:{line}: found program {sound.program}; allowed: {first} to {first + 127}")
        seen.add(sound.name)
    return found


def _mistakes(faults: ValidationError, text: str, source: str) -> list[str]:
    """The first mistakes, and the number of the others."""
    lines, found = lines_of(text), faults.errors(include_url=False, include_input=False)
    mistakes = [
        f"{source}:{line_of(lines, one['loc'])}: {'.'.join(map(str, one['loc']))}: {_words(one['msg'])}"
        for one in found[:_LISTED]
    ]
    more = len(found) - len(mistakes)
    return [*mistakes, f"{source}: and {counted(more, 'more mistake')}; correct these first"] if more else mistakes


def _words(message: str) -> str:
    return message.removeprefix("Value error, allowed: ").removeprefix("Value error, ")


def _outside(sound: ListedSound, found: SoundList) -> bool:
    return sound.program is not None and not 0 <= sound.program - found.programs_from <= 127


# Into a rig


def named(text: str) -> frozenset[str]:
    """The lists and the included files that a rig's text names; none if the text is not TOML."""
    try:
        data = parsed(text)
    except TomlError:
        return frozenset()
    instruments = data.get("instruments")
    gear = instruments.values() if isinstance(instruments, dict) else ()
    found = (each.get("sounds_from") for each in gear if isinstance(each, dict))
    return frozenset((*(each for each in found if isinstance(each, str)), *named_files(data)))


def with_lists(data: dict[str, Any], folder: Path) -> tuple[dict[str, Any], list[Complaint]]:
    """A rig's data with the sound lists read into the sounds, and the mistakes; own sounds override the list's."""
    instruments, complaints = data.get("instruments"), []
    if not isinstance(instruments, dict):
        return data, []
    filled = {}
    for name, gear in instruments.items():
        filled[name] = gear
        wanted = gear.get("sounds_from") if isinstance(gear, dict) else None
        if not isinstance(wanted, str):
            continue
        try:
            listed = _for(gear, sound_list(wanted, folder))
        except SoundListError as fault:
            mistakes = str(fault).split("\n")
            complaints += [Complaint(("instruments", name, "sounds_from"), each) for each in mistakes]
            listed = {}
        own = gear.get("sounds", {})
        if isinstance(own, dict):
            filled[name] = {**gear, "sounds": {**listed, **own}}
    return {**data, "instruments": filled}, complaints


def _for(gear: dict[str, Any], listed: SoundList) -> dict[str, Any]:
    """The sounds of a list as this instrument's own table would give them."""
    banks = any(sound.bank is not None for sound in listed.sounds)
    if banks and gear.get("bank") == "none":
        raise SoundListError('the list has banks, but the instrument has bank = "none"; set what it responds to')
    shift = (0 if gear.get("programs_from") == 0 else 1) - listed.programs_from
    return {sound.name: _keys(sound, shift) for sound in listed.sounds}


def _keys(sound: ListedSound, shift: int) -> dict[str, Any]:
    program = {"program": sound.program + shift} if sound.program is not None else {}
    printed = {"printed": sound.printed} if sound.printed is not None else {}
    return {**program, **printed, **({"bank": [*sound.bank]} if sound.bank else {})}
