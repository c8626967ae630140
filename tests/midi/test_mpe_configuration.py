"""The configuration of MPE zones, sent and understood as the standard has it."""

import pytest

from engine.midi.message_words import from_hex, to_hex
from engine.midi.mpe import zone
from engine.midi.mpe_configuration import AnnouncedZones, configuration
from tests.support.check_values import CheckValue, check_value, check_values
from tests.support.mpe_port import MpePort

MANAGERS = {"lower": 1, "upper": 16}


def _hearing(*messages: str) -> AnnouncedZones:
    zones = AnnouncedZones()
    for message in messages:
        zones.turn(from_hex(message))
    return zones


def _announcement(manager: int, members: int) -> list[str]:
    status = f"B{manager - 1:X}"
    return [f"{status} 65 00", f"{status} 64 06", f"{status} 06 {members:02X}"]


def _ends(zones: AnnouncedZones, manager: int) -> list[int] | None:
    found = zones.zone(manager)
    return None if found is None else [found.zone.first, found.zone.last]


@pytest.mark.parametrize("name", ["mpe-mcm-15", "mpe-mcm-upper-15"])
def test_the_configuration_begins_as_the_standard_has_it(name: str) -> None:
    """RPN 6 on the manager channel, with the number of members."""
    value = check_value(name)
    ends = (2, 16) if value.input["zone"] == "lower" else (1, 15)
    sent = [to_hex(message) for message in configuration(zone(*ends), 48)[0]]
    assert sent[:3] == value.expected


@pytest.mark.parametrize("value", check_values("mpe-zones-"), ids=lambda value: value.id)
def test_later_announcements_take_channels(value: CheckValue) -> None:
    """The later message has its way; the receiver of the tests, written apart, agrees."""
    zones, port = AnnouncedZones(), MpePort()
    for each in value.input:
        for message in _announcement(MANAGERS[each["zone"]], each["members"]):
            zones.turn(from_hex(message))
            port.hear(from_hex(message))
    found = {name: _ends(zones, manager) for name, manager in MANAGERS.items()}
    heard = {name: [*port.zones[each]] if each in port.zones else None for name, each in MANAGERS.items()}
    assert found == value.expected
    assert heard == value.expected


def test_a_zone_is_switched_off() -> None:
    """No members: the zone is off."""
    value = check_value("mpe-mcm-off")
    assert _ends(_hearing(*_announcement(16, 5), *value.expected), 16) is None


def test_either_order_of_the_number_is_understood() -> None:
    """Version 1.1 sends 101 first, version 1.0 100."""
    value = check_value("mpe-mcm-order")
    for messages, expected in zip(value.input, value.expected, strict=True):
        assert _ends(_hearing(*messages), 1) == [2, expected["lower"] + 1]


def test_other_channels_announce_nothing() -> None:
    """RPN 6 counts on channels 1 and 16 alone."""
    zones = _hearing(*check_value("mpe-mcm-other-channel").input)
    assert [_ends(zones, manager) for manager in MANAGERS.values()] == [None, None]


def test_bend_ranges_of_a_zone() -> None:
    """48 semitones after a configuration; a range that is sent to any member is that of all of them."""
    value, usual = check_value("mpe-bend-range-all"), check_value("mpe-bend-defaults").expected
    zones = _hearing(*_announcement(1, value.input["members"]))
    before = zones.zone(1)
    assert before is not None
    assert before.bend == usual["member"]
    for message in value.input["received"]:
        zones.turn(from_hex(message))
    found = zones.zone(1)
    assert found is not None
    assert {str(member): found.bend for member in found.zone.members} == {
        member: bend for member, bend in value.expected.items() if member != "manager"
    }


@pytest.mark.parametrize(("ends", "bend"), [((2, 8), 48), ((9, 15), 24), ((2, 16), 12), ((1, 15), 96)])
def test_a_module_is_set_up_by_it(ends: tuple[int, int], bend: int) -> None:
    """A module of the tests has the zone and the ranges afterwards."""
    port, wanted = MpePort(), zone(*ends)
    for unit in configuration(wanted, bend):
        for message in unit:
            port.hear(message)
    assert port.zones == {wanted.manager: ends}
    assert port.ranges(wanted.manager) == {wanted.manager: 2} | dict.fromkeys(wanted.members, bend)


@pytest.mark.parametrize(("ends", "manager"), [((2, 8), 1), ((9, 15), 16)])
def test_a_manager_has_a_range_of_its_own(ends: tuple[int, int], manager: int) -> None:
    """RPN 0 on the manager channel (M1-100 section 2.4): at a module that is set up by it, and of a controller that
    announces it. A new configuration takes it back."""
    port, zones = MpePort(), AnnouncedZones()
    for message in (message for unit in configuration(zone(*ends), 24, 12) for message in unit):
        port.hear(message)
        zones.turn(message)
    assert port.ranges(manager) == {manager: 12} | dict.fromkeys(range(ends[0], ends[1] + 1), 24)
    found = zones.zone(manager)
    assert found is not None
    assert (found.bend, found.manager_bend) == (24, 12)
    for text in _announcement(manager, 7):
        zones.turn(from_hex(text))
    found = zones.zone(manager)
    assert found is not None
    assert (found.bend, found.manager_bend) == tuple(
        check_value("mpe-bend-defaults").expected[of] for of in ("member", "manager")
    )
