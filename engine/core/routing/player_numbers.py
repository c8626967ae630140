"""The numbers of players in the ledger: an input's own index, and others for what its filters play or hold."""

from typing import Final

#: takes the place of an input index for notes that no input has played
NOBODY: Final = 1 << 20
_HOLDERS: Final = 1 << 30


def player(source: int, lasting: bool) -> int:
    """The player of an input's delayed notes; those of routes of every scene have another."""
    return -1 - (2 * source + lasting)


def holder(source: int, lasting: bool) -> int:
    """The player of those notes of an input that a filter holds though their keys are up."""
    return player(source, lasting) - _HOLDERS


def all_of(source: int) -> frozenset[int]:
    """All numbers of an input but its own."""
    return frozenset(which(source, lasting) for which in (player, holder) for lasting in (False, True))
