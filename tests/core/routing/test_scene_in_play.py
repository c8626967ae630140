"""What scenes in play answer, and how much of it they remember. Our own design; no outside source."""

from typing import Any

from engine.core.routing.filter_chain import ChainMemory, FilterFaults, FilterLink, run_chain
from engine.core.routing.open_routes import AnswerMemory
from engine.core.routing.routed_message import RoutedMessage, TimedMessage, answer, without


def worked_out(number: int) -> RoutedMessage:
    return answer(0, b"\xf8", ((number, (b"\xf8",)),))


def content(answered: RoutedMessage) -> list[object]:
    """All that an answer says."""
    moves = [(move.moved, move.sent, move.at_rest, move.low) for move in answered.moves]
    sent = [answered.units, answered.said, answered.others, answered.later, answered.held, answered.pedals]
    noted = [answered.kind, answered.targets, answered.sent, answered.highs, answered.position]
    marks = [answered.selects, answered.merges, answered.prefix, answered.announces, answered.noted, answered.plain]
    return [moves, *sent, *noted, *marks]


def test_all_inputs_together_remember_so_much_and_forget_the_oldest_first() -> None:
    """However much is played, the memory is bounded over all inputs and scenes, and keeps the newest answers."""
    memory = AnswerMemory(most=3)
    keys: dict[bytes, RoutedMessage] = {}
    pads: dict[bytes, RoutedMessage] = {}
    for number in range(5):
        memory.keep((keys, pads)[number % 2], bytes((0x90, number, 1)), worked_out(number))
    assert list(keys) == [bytes((0x90, 2, 1)), bytes((0x90, 4, 1))]
    assert list(pads) == [bytes((0x90, 3, 1))]


def test_a_chain_of_filters_is_asked_once_what_it_makes_of_a_message() -> None:
    """Whatever scene asks; the memory is bounded, and another chain is another, though its filters do the same."""
    asked: list[bytes] = []

    def pass_on(message: bytes, now: int) -> tuple[bytes, ...]:
        asked.append(message)
        return (message,)

    memory, faults = ChainMemory(most=2), FilterFaults()
    one, other = (FilterLink("one", pass_on, False),), (FilterLink("one", pass_on, False),)
    wheel, fader = b"\xb0\x01\x40", b"\xb0\x07\x40"
    assert [memory.run(links, wheel, faults) for links in (one, one, other)] == [(wheel,)] * 3
    assert asked == [wheel, wheel]
    assert memory.run(one, fader, faults) == (fader,)  # the oldest is forgotten
    assert memory.run(one, wheel, faults) == (wheel,)
    assert asked == [wheel, wheel, fader, wheel]


def test_a_filter_may_answer_with_any_sequence() -> None:
    """The contract asks for a tuple, but a plug-in that answers with a list is understood, compiled or not."""
    faults, wheel, fader = FilterFaults(), b"\xb0\x01\x40", b"\xb0\x07\x40"

    def both(message: bytes, now: int) -> Any:
        return [message, fader]

    assert run_chain((FilterLink("both", both, False),), wheel, 0, faults) == (wheel, fader)
    assert not faults.counts


def test_what_is_left_of_an_answer_without_an_output() -> None:
    """Nothing of it is for that output any longer, now or later, nor will the ledger know of any; the rest is as if
    there had never been that output."""
    later = (TimedMessage(9, b"\x90\x3c\x40", (0, 1), False), TimedMessage(9, b"\x90\x3d\x40", (0,), False))
    left = (TimedMessage(9, b"\x90\x3c\x40", (1,), False),)
    for message, unit in (
        (b"\xc0\x05", (b"\xb0\x00\x01", b"\xc0\x05")),
        (b"\x90\x3c\x40", (b"\x90\x3c\x40",)),
        (b"\x80\x3c\x40", (b"\x80\x3c\x40", b"\x90\x40\x40")),
        (b"\xb0\x40\x7f", (b"\xb0\x40\x7f",)),
    ):
        both, one = answer(0, message, ((0, unit), (1, unit)), later), answer(0, message, ((1, unit),), left)
        assert content(without(both, {0})) == content(one)
        assert content(without(one, {0})) == content(one)
