"""Eight-bit bytes packed into seven-bit bytes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.midi.seven_bit_packing import pack, unpack
from tests.support.check_values import check_value


@pytest.mark.parametrize("name", ["sysex-pack7-bytes", "sysex-pack7-short"])
def test_the_high_bits_come_first(name: str) -> None:
    """Seven bytes become eight, the high bits first, with bit 6 for the first byte (MIDI 1.0 p. 43)."""
    stored, sent = bytes.fromhex(check_value(name).input), bytes.fromhex(check_value(name).expected)
    assert pack(stored) == sent
    assert unpack(sent) == stored


@pytest.mark.parametrize("name", ["sysex-pack7-64", "sysex-pack7-112"])
def test_what_packing_costs(name: str) -> None:
    """64 bytes become 74 and 112 become 128 (MIDI 1.0 p. 43)."""
    entry = check_value(name)
    assert len(pack(bytes(entry.input["stored_bytes"]))) == entry.expected["sent_bytes"]


@given(st.binary(max_size=300))
def test_any_bytes_survive(data: bytes) -> None:
    """Any bytes are 7-bit when packed, and unpack to what they were."""
    packed = pack(data)
    assert all(byte < 0x80 for byte in packed)
    assert unpack(packed) == data


@given(st.binary(max_size=40))
def test_only_what_packing_makes_is_unpacked(packed: bytes) -> None:
    """Bytes that packing never produces are refused; no two packings unpack to the same bytes."""
    try:
        data = unpack(packed)
    except ValueError:
        return
    assert pack(data) == packed


@pytest.mark.parametrize("packed", ["00", "00 00 00 00 00 00 00 00 00", "01 00", "00 80", "80 00"])
def test_what_packing_never_makes(packed: str) -> None:
    """High bits without a byte, a bit for a missing byte, and eight-bit bytes are refused."""
    with pytest.raises(ValueError, match=r"7-bit|high bits"):
        unpack(bytes.fromhex(packed))
