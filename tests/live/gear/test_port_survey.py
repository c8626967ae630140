"""Which devices are found behind a system's outputs before there is a rig.

Source: MIDI 1.0 Detailed Specification 4.2.1 p. 40 (the inquiry and its answer).
"""

from collections.abc import Callable

import pytest

from engine.instruments.device_inquiry import read_reply
from engine.live.gear.port_survey import PortAnswer, survey
from engine.ports.memory import MemorySystem
from engine.ports.port import PortError
from tests.support.simulated_instrument import IDENTITY, INQUIRY, Instrument

INPUTS, OUTPUTS = ("Keys", "Box in", "Loop in"), ("Silent", "Box", "Loop")


@pytest.fixture
def system(monkeypatch: pytest.MonkeyPatch) -> MemorySystem:
    """An instrument behind Box answers at Box in; what goes out at Loop comes back at Loop in."""
    system, instrument = MemorySystem("pit", INPUTS, OUTPUTS), Instrument()

    def answered(output: str, source: str, answers: Callable[[bytes], list[bytes]]) -> None:
        port, heard = system.output(output), system.input(source)
        sent = port.send

        def send(message: bytes) -> None:
            sent(message)
            for answer in answers(message):
                heard.push(answer)

        monkeypatch.setattr(port, "send", send)

    answered("Box", "Box in", lambda message: instrument.hear(0, message))
    answered("Loop", "Loop in", lambda message: [message])
    return system


def test_each_answer_has_its_output_and_its_input(system: MemorySystem) -> None:
    """Every output is asked once; an answer names output, input and identity, and a loop shows by the question that
    comes back. What came in before is no answer, and all ports are closed again."""
    system.input("Keys").push(IDENTITY)
    found = survey(system, INPUTS, OUTPUTS, 0.01)
    assert found == [PortAnswer("Box", "Box in", read_reply(IDENTITY)), PortAnswer("Loop", "Loop in", None)]
    for name in OUTPUTS:
        assert [message for _, message in system.output(name).sent] == [INQUIRY]
    assert all(system.input(name).closed for name in INPUTS)
    assert all(system.output(name).closed for name in OUTPUTS)


def test_a_port_that_cannot_be_opened_is_left_out(system: MemorySystem, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ports in use elsewhere, or gone, are passed over; the others are asked."""
    opened_input, opened_output = system.open_input, system.open_output

    def refuse(opened: Callable[[str], object], refused: str) -> Callable[[str], object]:
        def open_one(pattern: str) -> object:
            if pattern == refused:
                raise PortError("in use by another program")
            return opened(pattern)

        return open_one

    monkeypatch.setattr(system, "open_input", refuse(opened_input, "Loop in"))
    monkeypatch.setattr(system, "open_output", refuse(opened_output, "Silent"))
    system.input("Keys").unplug()
    assert [answer.output for answer in survey(system, INPUTS, OUTPUTS, 0.01)] == ["Box"]
