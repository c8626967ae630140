"""What `bayleaf status` says in words."""

from typing import Any

from engine.cli.status_words import network_faults_in_words


def _machine(name: str, said_badly: int = 0, **faults: int) -> dict[str, Any]:
    return {"name": name, "garbled": said_badly, "faults": faults or None}


def test_what_went_wrong_on_the_network_is_shown() -> None:
    """Faults of the link and of the watchdog here, what a machine said badly, and what it counts itself."""
    machines = [_machine("desk"), _machine("left", 12, garbled=1, link=0, stuck=2, own=3)]
    found = {"machine": "desk", "faults": 1, "stuck": 2, "machines": machines}
    assert [*network_faults_in_words(found)] == [
        "desk: 1 fault of the link, its loop was stuck 2 times",
        "left said what made no sense 12 times; it was ignored",
        "left: orders or claims made no sense once, its loop was stuck 2 times, 3 faults of Bayleaf itself",
    ]


def test_nothing_is_shown_where_nothing_went_wrong() -> None:
    """Nor where nothing is known of another machine."""
    found = {"machine": "desk", "faults": 0, "stuck": 0, "machines": [_machine("desk"), _machine("left")]}
    assert [*network_faults_in_words(found)] == []
