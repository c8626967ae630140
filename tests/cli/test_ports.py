"""`bayleaf ports`: the list of ports, and unknown backends."""

import json

from tests.support.bayleaf_command import Bayleaf


def test_ports_lists_and_unknown_backends_are_reported(bayleaf: Bayleaf) -> None:
    """`ports` prints JSON on request; an unknown backend is reported with the names of the available ones."""
    said = bayleaf("ports", "--backend", "memory", "--json")
    assert json.loads(said.out) == {"inputs": [], "outputs": []}
    said = bayleaf("ports", "--backend", "carrier-pigeon")
    assert said.status == 1
    assert "alsa, jack" in said.err
