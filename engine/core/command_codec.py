"""Turns commands into plain JSON values and back, from the dataclasses themselves: a new command needs nothing here."""

from dataclasses import MISSING, fields, is_dataclass
from functools import cache
from types import UnionType
from typing import Any, Union, cast, get_args, get_origin, get_type_hints

from engine.core.commands import COMMANDS, Command
from engine.midi.kinds import is_whole


def encode(command: Command) -> dict[str, Any]:
    """A command's recorded fields by name: bytes in hexadecimal, tuples as lists."""
    return cast(dict[str, Any], _encode(command))


def decode(word: str, values: Any) -> Command:
    """The command of this word with these fields. Raises ValueError with a sentence if there is none like that."""
    kind = COMMANDS.get(word)
    if kind is None:
        raise ValueError(f'there is no command "{word}"')
    return cast(Command, _decode(kind, values))


def _encode(value: Any) -> Any:
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, tuple):
        return [_encode(each) for each in value]
    if is_dataclass(value):
        return {name: _encode(getattr(value, name)) for name in _recorded(cast(type, type(value)))}
    return value


@cache
def _recorded(kind: type) -> dict[str, tuple[Any, bool]]:
    """The fields of a dataclass that are recorded: by name, their types and whether they may be left out."""
    hints = get_type_hints(kind)
    return {
        each.name: (hints[each.name], each.default is not MISSING)
        for each in fields(kind)
        if "derived" not in each.metadata
    }


def _decode(kind: Any, value: Any) -> Any:
    if get_origin(kind) in (Union, UnionType):
        return _decode_either(get_args(kind), value)
    if get_origin(kind) is tuple or (isinstance(kind, type) and issubclass(kind, tuple)):
        return _decode_tuple(kind, value)
    if is_dataclass(kind):
        return _decode_fields(cast(type, kind), value)
    if kind is bytes and isinstance(value, str):
        return _message(value)
    if type(value) is kind or (kind is float and type(value) is int):
        return value
    raise ValueError(f"found {value!r}, allowed: {kind.__name__}")


def _message(text: str) -> bytes:
    message = bytes.fromhex(text)
    if not is_whole(message):
        raise ValueError(f"found {text!r}, allowed: one whole message in hexadecimal")
    return message


def _decode_either(kinds: tuple[Any, ...], value: Any) -> Any:
    for kind in kinds:
        try:
            return _decode(kind, value)
        except ValueError:
            continue
    raise ValueError(f"found {value!r}, allowed: {' or '.join(kind.__name__ for kind in kinds)}")


def _decode_tuple(kind: Any, value: Any) -> Any:
    if not isinstance(value, list):
        raise ValueError(f"found {value!r}, allowed: a list")
    if get_origin(kind) is None:  # a named tuple
        hints = tuple(get_type_hints(kind).values())
        least = len(hints) - len(kind._field_defaults)  # what has a default may be missing at the end
        return kind(*_each(hints[: max(least, len(value))], value))
    kinds = get_args(kind)
    return tuple(_each((kinds[0],) * len(value) if kinds[-1] is Ellipsis else kinds, value))


def _each(kinds: tuple[Any, ...], values: list[Any]) -> list[Any]:
    if len(kinds) != len(values):
        raise ValueError(f"found {len(values)} values, allowed: {len(kinds)}")
    return [_decode(kind, value) for kind, value in zip(kinds, values, strict=True)]


def _decode_fields(kind: type, value: Any) -> Any:
    recorded = _recorded(kind)
    if not isinstance(value, dict) or not value.keys() <= recorded.keys():
        raise ValueError(f"found {value!r}, allowed: an object with {', '.join(recorded) or 'nothing'}")
    missing = [name for name, (_, optional) in recorded.items() if name not in value and not optional]
    if missing:
        raise ValueError(f"{', '.join(missing)} missing")
    return kind(**{name: _decode(recorded[name][0], each) for name, each in value.items()})
