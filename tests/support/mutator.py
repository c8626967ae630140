"""Damages valid input at random: every mutation follows from a seed and a number, and can be made again."""

import random
import re
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

_LONGEST: Final = 1 << 16  # bytes of what is made
_NUMBER: Final = re.compile(rb"-?\d+(?:\.\d+)?")
_WORD: Final = re.compile(rb"[A-Za-z_]{2,}")
_NUMBERS: Final = (
    *(b"-1", b"0", b"-0", b"1", b"15", b"16", b"17", b"127", b"128", b"255", b"256", b"16383", b"16384"),
    *(b"2147483648", b"9223372036854775807", b"9223372036854775808", b"-9223372036854775809", b"1" * 5000),
    *(b"1e999", b"-1e999", b"1e-999", b"NaN", b"nan", b"inf", b"Infinity", b"0.5", b"0x" + b"f" * 80, b"true", b"null"),
)
_TEXTS: Final = (
    *(b"", b"\0", b"\xff\xfe", b"\xed\xa0\x80", b"\xc0\x80", b"\xf0\x9f\x8e\xb9", b"\x1b[2J", b"\r\n", b"\n", b'"'),
    *(b"'", b"\\", b"[", b"]", b"{", b"}", b"[[", b"=", b".", b",", b":", b"#", b"/", b"..", b"*", b"%00", b"\\ud800"),
    *(b"null", b"true", b"[]", b"{}", b'""', b"[" * 300, b"{" * 300, b'{"a":' * 300, b"a." * 80),
)


class Sample(NamedTuple):
    """Valid input: what it is given to, and its bytes. Only the bytes are mutated."""

    to: str
    data: bytes


class Mutator:
    """Makes mutations of these samples."""

    def __init__(self, samples: Sequence[Sample], seed: int) -> None:
        self._samples = samples
        self._seed = seed
        self._words: list[bytes] = sorted({word for sample in samples for word in _WORD.findall(sample.data)}) or [b"x"]

    def mutation(self, number: int) -> Sample:
        """The mutation of this number; it depends on nothing else but samples and seed."""
        chance = random.Random(f"{self._seed} {number}")
        sample = chance.choice(self._samples)
        data = sample.data
        for _ in range(chance.choice((1, 1, 1, 2, 3, 6))):
            data = chance.choice(_WAYS)(chance, data, self)[:_LONGEST]
        return Sample(sample.to, data)

    def other(self, chance: random.Random) -> bytes:
        """The bytes of any sample."""
        return chance.choice(self._samples).data

    def word(self, chance: random.Random) -> bytes:
        """A word of any sample."""
        return chance.choice(self._words)


def _span(chance: random.Random, data: bytes) -> tuple[int, int]:
    start = chance.randrange(len(data) + 1)
    return start, min(len(data), start + chance.choice((1, 1, 2, 3, 4, 8, 16, 64, 300)))


def _flipped(chance: random.Random, data: bytes, _: Mutator) -> bytes:
    if not data:
        return data
    place = chance.randrange(len(data))
    return data[:place] + bytes((data[place] ^ 1 << chance.randrange(8),)) + data[place + 1 :]


def _set(chance: random.Random, data: bytes, _: Mutator) -> bytes:
    start, end = _span(chance, data)
    value = chance.choice((0, 1, 0x7F, 0x80, 0xF0, 0xF7, 0xFF, chance.randrange(256)))
    return data[:start] + bytes((value,)) * (end - start) + data[end:]


def _lost(chance: random.Random, data: bytes, _: Mutator) -> bytes:
    start, end = _span(chance, data)
    return data[:start] + data[end:]


def _cut(chance: random.Random, data: bytes, _: Mutator) -> bytes:
    return data[: chance.randrange(len(data) + 1)]


def _doubled(chance: random.Random, data: bytes, _: Mutator) -> bytes:
    start, end = _span(chance, data)
    return data[:end] + data[start:end] * chance.choice((1, 1, 2, 50)) + data[end:]


def _noise(chance: random.Random, data: bytes, _: Mutator) -> bytes:
    place = chance.randrange(len(data) + 1)
    return data[:place] + chance.randbytes(chance.choice((1, 2, 4, 9))) + data[place:]


def _text(chance: random.Random, data: bytes, _: Mutator) -> bytes:
    start, end = _span(chance, data)
    return data[:start] + chance.choice(_TEXTS) + data[chance.choice((start, end)) :]


def _number(chance: random.Random, data: bytes, _: Mutator) -> bytes:
    return _replaced(chance, data, _NUMBER, chance.choice(_NUMBERS))


def _word(chance: random.Random, data: bytes, mutator: Mutator) -> bytes:
    return _replaced(chance, data, _WORD, mutator.word(chance))


def _replaced(chance: random.Random, data: bytes, what: re.Pattern[bytes], by: bytes) -> bytes:
    found = list(what.finditer(data))
    if not found:
        return data
    one = chance.choice(found)
    return data[: one.start()] + by + data[one.end() :]


def _spliced(chance: random.Random, data: bytes, mutator: Mutator) -> bytes:
    other = mutator.other(chance)
    start, end = _span(chance, other)
    place = chance.randrange(len(data) + 1)
    return data[:place] + other[start : chance.choice((end, len(other)))] + data[place:]


def _swapped_line(chance: random.Random, data: bytes, mutator: Mutator) -> bytes:
    """A line of one sample in the place of a line of another."""
    lines, others = data.split(b"\n"), mutator.other(chance).split(b"\n")
    lines[chance.randrange(len(lines))] = chance.choice(others)
    return b"\n".join(lines)


_WAYS: Final[Sequence[Callable[[random.Random, bytes, Mutator], bytes]]] = (
    *(_flipped, _set, _lost, _cut, _doubled, _noise, _text, _number, _number, _word, _word, _spliced, _swapped_line),
)
