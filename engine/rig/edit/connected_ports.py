"""Puts the connected ports into the text of a ready-made rig, in place of the invented ones."""

from collections.abc import Mapping, Sequence
from typing import Any

from engine.rig.edit.toml_edits import Sheet, toml
from engine.rig.short_port_names import gear_words


def with_ports(text: str, inputs: Sequence[str], outputs: Sequence[str]) -> tuple[str, dict[str, str]]:
    """The text with these patterns of ports, and what was put where: the name in the rig, with its section.

    A port whose name has a word of the rig's name or pattern goes there; the others fill what is left, in order.
    """
    put: dict[str, str] = {}
    for section, ports in (("inputs", inputs), ("outputs", outputs)):
        for name, port in _places(Sheet(text).data[section], ports).items():
            text = Sheet(text).with_value((section, name, "port"), toml(port))
            put[f"{section}.{name}"] = port
    return text, put


def _places(section: Mapping[str, Mapping[str, Any]], ports: Sequence[str]) -> dict[str, str]:
    """Which of these ports goes where."""
    free = {name: {*gear_words(name), *gear_words(keys["port"])} for name, keys in section.items()}
    left, placed = list(ports), dict[str, str]()
    for alike in (True, False):
        for port in tuple(left):
            best = max(free, key=lambda name: len(free[name] & {*gear_words(port)}), default=None)
            if best is not None and (not alike or free[best] & {*gear_words(port)}):
                placed[best] = port
                del free[best]
                left.remove(port)
    return {name: placed[name] for name in section if name in placed}
