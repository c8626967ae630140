"""A bench to try filters on: settings as a player writes them in a rig file, messages in hexadecimal."""

import tomllib
from collections.abc import Hashable
from typing import Any

import pytest
from hypothesis import strategies as st
from pydantic import ValidationError

from engine.midi.kinds import KINDS
from engine.midi.message_words import from_hex, to_hex
from filters.registry import FilterSettings, Later, Step, Surroundings, registry

MS = 1_000_000


def settings_of(text: str) -> FilterSettings:
    """Validated settings of one line, such as 'filter = "channels", keep = [1]'."""
    table = tomllib.loads(f"it = {{ {text} }}")["it"]
    return registry()[table["filter"]].settings.model_validate(table)


def step_of(text: str, bpm: float = 120) -> Step:
    """A freshly built step, at this tempo."""
    return step_in(text, PlainSurroundings(bpm))


def step_in(text: str, surroundings: Surroundings) -> Step:
    """A freshly built step in these surroundings."""
    settings = settings_of(text)
    return registry()[settings.filter].build(settings, surroundings)


class PlainSurroundings:
    """A tempo, the values that were sent last, by status byte and controller, and what was moved; all may change."""

    def __init__(self, bpm: float = 120, values: dict[tuple[int, int], int] | None = None) -> None:
        self.bpm, self.values = bpm, values if values is not None else {}
        self.moved: list[bytes] = []
        self.lost: set[int] = set()  # status bytes of what came to rest
        self.sounds: dict[int, bool] = {}  # by channel from 0
        self.zone: tuple[int, int, int, int] | None = None  # that the input has announced
        self._shared: dict[Hashable, dict[Any, Any]] = {}

    def tempo(self, now: int) -> float:
        """See Surroundings."""
        return self.bpm

    def positions(self) -> list[bytes]:
        """See Surroundings."""
        return self.moved

    def in_force(self, controller: bytes) -> int | None:
        """See Surroundings."""
        return self.values.get((controller[0], controller[1]))

    def is_in_force(self, message: bytes) -> bool:
        """See Surroundings. Nobody but the filter sends anything, unless it was lost."""
        return message[0] not in self.lost

    def sounding(self) -> dict[int, bool]:
        """See Surroundings."""
        return self.sounds

    def announced(self, manager: int) -> tuple[int, int, int, int] | None:
        """See Surroundings."""
        return self.zone

    def shared(self, key: Hashable) -> dict[Any, Any]:
        """See Surroundings."""
        return self._shared.setdefault(key, {})


def heard(step: str | Step, *messages: str, now: int = 0) -> list[str]:
    """What comes out, in hexadecimal, when these messages go in one after another; "… at 20" means at 20 ms."""
    step = step_of(step) if isinstance(step, str) else step
    return [written(out) for message in messages for out in step(from_hex(message), now)]


def at_once(step: Step, message: bytes, now: int = 0) -> list[bytes]:
    """What a step sends immediately for a message; it must not keep anything for later."""
    sent = []
    for one in step(message, now):
        assert not isinstance(one, Later)
        sent.append(one)
    return sent


def written(out: bytes | Later) -> str:
    """One result as text."""
    return f"{to_hex(out.message)} at {out.at / MS:g}" if isinstance(out, Later) else to_hex(out)


def refusal(text: str) -> str:
    """The error for these settings, which must be refused."""
    with pytest.raises(ValidationError) as caught:
        settings_of(text)
    return "; ".join(f"{'.'.join(str(key) for key in error['loc'])}: {error['msg']}" for error in caught.value.errors())


_DATA = st.integers(0, 127)


def _of_kind(kind: Any) -> st.SearchStrategy[bytes]:
    if kind.data_bytes < 0:
        return st.lists(_DATA, max_size=12).map(lambda data: bytes((0xF0, *data, 0xF7)))
    status = st.integers(kind.status, kind.status + 15) if kind.status < 0xF0 else st.just(kind.status)
    data = st.lists(_DATA, min_size=kind.data_bytes, max_size=kind.data_bytes)
    return st.builds(lambda first, rest: bytes((first, *rest)), status, data)


#: whole messages of every kind, each kind equally often
MESSAGES = st.one_of([_of_kind(kind) for kind in KINDS])
SYSTEM_MESSAGES = st.one_of([_of_kind(kind) for kind in KINDS if kind.status >= 0xF0])
