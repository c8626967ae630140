"""The dumps of rigs that come in by MIDI, one for each input, from the first block until they are complete or stop."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Final

from engine.core.control.rig_dump import DumpCollector

_PATIENCE: Final = 5_000_000_000  # ns without a block after which a dump has stopped
_PAUSE: Final = 1_000_000_000  # ns between two sentences about blocks that were ignored


@dataclass(slots=True)
class _Dump:
    """`wanted`: whether it is collected at all; `last_at`: when its last block came (ns)."""

    wanted: bool
    last_at: int
    collector: DumpCollector = field(default_factory=DumpCollector)
    ignored: int = 0  # blocks that nothing was said about
    said_at: int | None = None


class IncomingDumps:
    """The dumps of one show. Inputs are indices, times in ns. Taking a block costs the same however many there are."""

    def __init__(self, tell: Callable[[int, str], None]) -> None:
        """`tell` gets the input and a sentence for the player."""
        self._tell = tell
        self._dumps: dict[int, _Dump] = {}

    def begins(self, source: int) -> bool:
        """Whether a block of this input would be the first of a dump."""
        return source not in self._dumps

    def begin(self, now: int, source: int, wanted: bool) -> None:
        """A dump begins at this input. Unless it is wanted, its blocks are passed over."""
        self._dumps[source] = _Dump(wanted, now)

    def take(self, now: int, source: int, block: bytes) -> DumpCollector | None:
        """A block of the dump that has begun there; the dump, if this completes it."""
        dump = self._dumps[source]
        dump.last_at = now
        if not dump.wanted:
            return None
        news = dump.collector.take(block)
        if not news.taken:
            self._ignored(now, source, news.text)
        if not dump.collector.complete:
            return None
        del self._dumps[source]
        return dump.collector

    def _ignored(self, now: int, source: int, reason: str) -> None:
        dump = self._dumps[source]
        dump.ignored += 1
        if dump.said_at is None or now - dump.said_at >= _PAUSE:
            others = f" ({dump.ignored - 1} more were ignored, too)" if dump.ignored > 1 else ""
            self._tell(source, reason + others)
            dump.ignored, dump.said_at = 0, now

    def stopped(self, now: int) -> Iterator[tuple[int, str]]:
        """Forget the dumps that have stopped half-way: the input of each, and a sentence."""
        for source, dump in list(self._dumps.items()):
            if now - dump.last_at > _PATIENCE:
                del self._dumps[source]
                if dump.wanted:
                    yield source, dump.collector.and_missing("the dump has stopped")
