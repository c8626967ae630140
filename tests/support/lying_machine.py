"""A machine of the rig that joins its network and says what it should not: nonsense, other machines' words, floods."""

import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import islice
from typing import Final

from engine.cluster.link.join import join
from engine.cluster.link.keys import NetworkKeys
from engine.cluster.link.link import Link
from engine.cluster.link.wire_format import EventSender
from engine.rig.read.load import load
from tests.support.attacked_stage import Target

_ME: Final = "left"
_FOR: Final = 2.0  # seconds on the network
_RATE: Final = 2000  # words per second
_NONSENSE: Final = (
    *(b"", b"[]", b"{}", b"null", b"0", b'"desk"', b"\xff" * 200, b"[" * 50_000, b'{"epoch": 1' * 1000, b"9" * 10_000),
    *(b'{"inputs": [], "outputs": []}', b'{"outputs": {"far": {"load": 1e999}}}', b'{"outputs": {"far": null}}'),
    *(b'[1, "desk", null, []]', b'[-1, "desk", null, []]', b'["one", "desk", null, []]', b'[1, "desk", null, [[]]]'),
)


def _lease(epoch: object, holder: object) -> bytes:
    return json.dumps({"epoch": epoch, "holder": holder, "given_to": None, "incomplete": []}).encode()


_LEASES: Final = tuple(_lease(epoch, holder) for epoch in (-1, 0, "three", 1 << 70) for holder in ("desk", "nobody", 7))


@contextmanager
def _joined(target: Target) -> Iterator[tuple[Link, NetworkKeys]]:
    rig = load(target.rig_file).on(_ME)
    link, keys = join(rig, target.rig_file, lambda text: None), NetworkKeys(rig.rig.name)
    try:
        link.alive(keys.alive(_ME))
        link.alive(keys.plugged(_ME, "in", "away"))
        link.alive(keys.plugged(_ME, "out", "far"))
        yield link, keys
    finally:
        link.close()


def _for_a_while(say: Callable[[int], None]) -> None:
    begun = time.monotonic()
    for number in range(int(_FOR * _RATE)):
        say(number)
        time.sleep(max(0.0, begun + number / _RATE - time.monotonic()))


def nonsense(target: Target) -> None:
    """Leases, reports and events without sense."""
    with _joined(target) as (link, keys):

        def say(number: int) -> None:
            link.keep(keys.lease(_ME), (_LEASES + _NONSENSE)[number % len(_LEASES + _NONSENSE)])
            link.hint(keys.meter(_ME), _NONSENSE[number % len(_NONSENSE)])
            link.publish(keys.input(_ME, "away"), _NONSENSE[number % len(_NONSENSE)])

        _for_a_while(say)


def flood(target: Target) -> None:
    """Notes of an input, in packets that nobody could play, and reports of their weight."""
    with _joined(target) as (link, keys):
        sender = EventSender(7)
        notes = [(number, bytes((0x90, number % 128, 1))) for number in range(500)]

        def say(number: int) -> None:
            for payload, bulk in islice(sender.packs(notes), 1):
                link.publish(keys.input(_ME, "away"), payload, bulk)
            link.hint(keys.meter(_ME), b'{"inputs": {' + b" " * 20_000 + b"}}")

        _for_a_while(say)


def flapping(target: Target) -> None:
    """Ports that come and go without end."""
    with _joined(target) as (link, keys):

        def say(number: int) -> None:
            (link.gone if number % 2 else link.alive)(keys.plugged(_ME, "out", "far"))
            (link.gone if number % 2 else link.alive)(keys.plugged(_ME, "in", "away"))

        _for_a_while(say)
