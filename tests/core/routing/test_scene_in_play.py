"""How much scenes in play remember of earlier answers. The bound is our own; no outside source."""

from engine.core.routing.scene_in_play import PLAIN, AnswerMemory, RoutedMessage


def worked_out(number: int) -> RoutedMessage:
    return RoutedMessage(PLAIN, ((number, (b"\xf8",)),), (), (), (), (), ())


def test_all_inputs_together_remember_so_much_and_forget_the_oldest_first() -> None:
    """However much is played, the memory is bounded over all inputs and scenes, and keeps the newest answers."""
    memory = AnswerMemory(most=3)
    keys: dict[bytes, RoutedMessage] = {}
    pads: dict[bytes, RoutedMessage] = {}
    for number in range(5):
        memory.keep((keys, pads)[number % 2], bytes((0x90, number, 1)), worked_out(number))
    assert list(keys) == [bytes((0x90, 2, 1)), bytes((0x90, 4, 1))]
    assert list(pads) == [bytes((0x90, 3, 1))]
