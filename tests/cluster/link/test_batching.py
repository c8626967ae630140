"""Bundles: messages under one folder of keys, sent as one put."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.cluster.link import batching
from engine.cluster.link.keys import NetworkKeys

NAMES = NetworkKeys("Lantern Street")
SAID = st.lists(st.tuples(st.text(min_size=1).map(lambda name: NAMES.output("stage", name)), st.binary()))


@given(SAID)
def test_a_bundle_gives_what_was_said_in_its_order(said: list[tuple[str, bytes]]) -> None:
    """Whatever the ports are called and whatever is sent, it arrives under its own key and in order."""
    key = batching.key_of(NAMES.outputs("stage").removesuffix("/*"))
    assert batching.is_bundle(key)
    assert [each for bundle in batching.packs(said) for each in batching.unpack(key, bundle)] == said


def test_a_bundle_is_bounded() -> None:
    """What waits while a machine is away is sent in several: 2,000 messages or 64 kB each; more is not accepted."""
    key = batching.key_of("r1/x/out/stage")
    for payload, least in ((b"\x90\x3c\x40", 10), (bytes(1000), 300)):
        said = [("r1/x/out/stage/strings", payload)] * 20_000
        bundles = [*batching.packs(said)]
        assert max(len(bundle) for bundle in bundles) < 66_000
        assert len(bundles) >= least
        assert [each for bundle in bundles for each in batching.unpack(key, bundle)] == said
    name = (4).to_bytes() + b"keys"
    for payload, many in ((b"", 2001), (bytes(1000), 66)):  # 1000 takes two bytes: 0x68 + 7 * 128
        bundle = (name + (b"\xe8\x07" if payload else b"\x00") + payload) * many
        with pytest.raises(ValueError, match="more than can be sent together"):
            batching.unpack(key, bundle)


@given(st.text(min_size=1))
def test_no_port_is_taken_for_a_bundle(name: str) -> None:
    """No port name gives a bundle's key: the bundle's sign is percent-encoded in names (RFC 3986 section 2.1)."""
    assert not batching.is_bundle(NAMES.input("stage", name))
    assert not batching.is_bundle(NAMES.input("stage", "+"))


def test_half_a_bundle_is_refused() -> None:
    """Truncated bytes are not a bundle."""
    whole = next(batching.packs([(NAMES.output("stage", "strings"), b"\x90\x3c\x40")]))
    with pytest.raises(ValueError, match="missing"):
        list(batching.unpack("r1/x/out/stage/+", whole[:-1]))
