"""What needs attention, in sentences. (Our own design; no outside source.)"""

import pytest

from engine.core.commands import RecallScene
from engine.live.cable_load import CableLoad
from engine.live.health import health
from engine.ports.port import PortError
from tests.support.small_show import MS, RIG, Bench

KEYS, PEDALS = 0, 1
STRINGS, BRASS = 0, 1


class Patient:
    """A show and its cable load."""

    def __init__(self, rig: str = RIG, missing: tuple[str, ...] = ()) -> None:
        self.bench = Bench(rig, missing)
        self.show = self.bench.show
        self.show.apply(RecallScene(2), "shell")
        self.gauge = CableLoad(self.show)

    def tells(self) -> list[str]:
        self.gauge.look()
        return health(self.show, self.gauge)


@pytest.fixture
def well() -> Patient:
    """A show in scene 2 with nothing wrong."""
    return Patient()


def test_nothing_is_wrong(well: Patient) -> None:
    """A show with nothing wrong reports nothing."""
    well.bench.play(KEYS, "90 3C 40", "80 3C 40")
    assert well.tells() == []


def test_a_port_that_is_missing() -> None:
    """It is reported with the reason until it is back."""
    away = Patient(missing=("keys", "brass"))
    assert away.tells() == ['input keys is missing: there is no "keys"', 'output brass is missing: there is no "brass"']


def test_one_reason_is_reported_once(well: Patient) -> None:
    """Ports that are missing for the same reason are reported together."""
    for output in well.bench.outputs.values():
        output.unplug("the box is off")
    well.show.check_outputs()
    assert well.tells() == ["the outputs strings and brass are missing: the box is off"]


def test_many_reasons_are_too_many() -> None:
    """When many ports are missing for different reasons, only their names are given."""
    text = RIG.replace("[outputs]", "[outputs]\n" + "".join(f'o{n} = {{ port = "Port {n}" }}\n' for n in range(3)))
    away = Patient(text, missing=("o0", "o1", "o2"))
    assert away.tells() == ["the outputs o0, o1 and o2 are missing"]


def test_a_port_that_takes_nothing(well: Patient, monkeypatch: pytest.MonkeyPatch) -> None:
    """An open output that refuses messages is reported with the driver's words."""

    def refuse(message: bytes, at: int = 0) -> None:
        raise PortError("the queue is full")

    monkeypatch.setattr(well.bench.outputs["brass"], "send", refuse)
    well.bench.play(KEYS, "90 3C 40")
    assert well.tells() == ["output brass takes no messages: the queue is full"]


def test_an_input_that_fell_silent(well: Patient) -> None:
    """An input that promised active sensing and fell silent (MIDI 1.0 p. 32) is reported until it sends again."""
    well.bench.play(KEYS, "FE")
    well.bench.now += 400 * MS
    well.show.pump()
    assert well.tells() == ["input keys fell silent (no active sensing); what it held was released"]
    well.bench.play(KEYS, "FE")
    assert well.tells() == []


def test_a_muted_loop(well: Patient) -> None:
    """A connection muted because of a loop is reported with its ports and the remedy."""
    well.show.engine.state.loops.muted.add((KEYS, BRASS))
    (sentence,) = well.tells()
    assert sentence.startswith("keys is muted towards brass: what is sent there comes back in; unplug the cable")


def test_a_cable_that_is_full() -> None:
    """A full cable is reported; once it drops messages, only that is reported."""
    slow = Patient(RIG.replace('strings = { port = "Box 1" }', 'strings = { port = "Box 1", wire = "din" }'))
    for _ in range(30):
        slow.bench.passes(slow.bench.now + 50 * MS)
        slow.bench.play(KEYS, *["90 3C 40", "80 3C 40"] * 40)
        sentences = slow.tells()
    assert sentences == ["the cable of output strings is full; notes there are late"]
    slow.bench.play(KEYS, *["90 3C 40"] * 6000)
    (sentence,) = slow.tells()
    assert sentence.startswith("output strings gets more than its cable carries: ")
    assert sentence.endswith(" messages were dropped in the last minute")


def test_an_input_that_floods(well: Patient, monkeypatch: pytest.MonkeyPatch) -> None:
    """Messages dropped from an input that floods are reported for a minute."""
    monkeypatch.setattr(well.bench.reader, "shed", lambda source: int(source == KEYS))
    assert well.tells() == ["input keys sends more than can be played: 1 message was dropped in the last minute"]


def test_a_rig_file_that_was_refused(well: Patient) -> None:
    """It is reported with its first fault and the number of others."""
    well.show.refused = "pit.toml:3: rig.nam: no such key\npit.toml:9: again"
    assert well.tells() == [
        "the rig file was changed but cannot be played: pit.toml:3: rig.nam: no such key (and 1 more)"
    ]


def test_faults_of_filters_and_of_our_own(well: Patient) -> None:
    """A filter that failed is named with its first fault; a fault of Bayleaf itself is reported, too."""
    well.show.engine.state.faults.add("echo", "ValueError: no")
    well.show.engine.state.faults.add("echo", "ValueError: no again")
    well.show.own_fault("a test", RuntimeError("a mistake"))
    assert well.tells() == [
        "the filter echo failed 2 times and was stepped over: ValueError: no",
        "Bayleaf itself failed once and continued; please report it",
    ]
