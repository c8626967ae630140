"""Numbers with their nouns, singular or plural, and long lists of names."""

from collections.abc import Sequence


def plural(count: int, noun: str) -> str:
    """ "output" for one, else "outputs"."""
    return noun if count == 1 else f"{noun}s"


def counted(count: int, noun: str, *, zero: str = "0") -> str:
    """ "1 output", "1,200 outputs"; `zero` is the word for none, such as "no"."""
    return f"{f'{count:,}' if count else zero} {plural(count, noun)}"


def times(count: int) -> str:
    """ "once", "2 times" """
    return "once" if count == 1 else f"{count:,} times"


def some(names: Sequence[str], most: int = 8) -> str:
    """The first of the names, and how many more there are: "keys, pads and 6 more"."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more
