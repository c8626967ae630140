"""The names of everything on the network. (zenoh's key expressions: no `*`, `$`, `?`, `#`, no empty part.)"""

from hypothesis import given
from hypothesis import strategies as st

from engine.cluster.link.keys import NetworkKeys, machine_of, port_of

PRINTABLE = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20)


@given(rig=PRINTABLE, port=PRINTABLE)
def test_any_name_makes_a_key(rig: str, port: str) -> None:
    """Whatever a rig and its ports are called, a key has none of zenoh's signs, and its parts can be told apart."""
    names = NetworkKeys(rig)
    for key in (names.input("desk", port), names.output("desk", port), names.plugged("desk", "out", port)):
        assert not set("*$?# \t") & set(key)
        assert all(key.split("/"))
        assert machine_of(key) == "desk"
        assert port_of(key) == port


@given(one=PRINTABLE, other=PRINTABLE)
def test_two_names_are_two_keys(one: str, other: str) -> None:
    """Different names never share a key."""
    assert (NetworkKeys(one).root == NetworkKeys(other).root) == (one == other)
    assert (NetworkKeys("a").input("desk", one) == NetworkKeys("a").input("desk", other)) == (one == other)
