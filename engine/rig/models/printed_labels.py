"""How gear prints its programs where it does not number them through: "A11" to "B88", or labels in a table."""

import re
from collections.abc import Mapping
from itertools import product
from typing import Any, Final

_END: Final = re.compile(r"[A-Z1-8 -]{1,8}")
_PROGRAMS: Final = 128
ALLOWED: Final = (
    'the first and the last label of gear that numbers in banks of eight, such as "A11..B88", or a table of labels '
    "with their programs, such as { U5 = 70 }"
)

#: first and last label, or a table of labels and their programs as the instrument counts them
Labels = str | dict[str, int]


def check_labels(found: Any) -> Any:
    """Raises ValueError, which says what is allowed."""
    if isinstance(found, str):
        _between(found)
        return found
    numbers = found.values() if isinstance(found, dict) and found else (None,)
    if not all(type(each) is int and 0 <= each <= _PROGRAMS for each in numbers):
        raise ValueError(ALLOWED)
    return found


def programs_by_label(labels: Labels, programs_from: int) -> Mapping[str, int]:
    """By label, the program as the instrument counts them."""
    if isinstance(labels, str):
        return {label: number + programs_from for number, label in enumerate(_between(labels))}
    return labels


def _between(ends: str) -> list[str]:
    """All labels from one to another, the last sign running fastest. Raises ValueError."""
    first, parted, last = ends.partition("..")
    fits = parted and len(first) == len(last) and _END.fullmatch(first) and _END.fullmatch(last)
    if not fits or any(low > high or low.isdigit() != high.isdigit() for low, high in zip(first, last, strict=True)):
        raise ValueError(ALLOWED)
    signs = [[chr(each) for each in range(ord(low), ord(high) + 1)] for low, high in zip(first, last, strict=True)]
    labels = ["".join(each) for _, each in zip(range(_PROGRAMS + 1), product(*signs), strict=False)]
    if len(labels) > _PROGRAMS:
        raise ValueError(f"{ALLOWED}; these are more than {_PROGRAMS}")
    return labels
