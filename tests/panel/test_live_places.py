"""How many live sockets may be open, and for whom some are kept."""

from contextlib import ExitStack

import pytest

from engine.panel.live_places import LivePlaces, NoPlace


def test_places_are_kept_for_those_who_operate_and_for_this_machine() -> None:
    """Guests get 16 of the 32 live sockets, other machines 28; this machine still gets the last four."""
    places = LivePlaces()
    with ExitStack() as taken:
        for number in range(4):
            for _ in range(4):
                taken.enter_context(places.taken(f"guest {number}", "view"))
        with pytest.raises(NoPlace, match="too many browsers are open on this panel"), places.taken("guest", "view"):
            pass
        for number in range(12):
            taken.enter_context(places.taken(f"player {number}", "operate"))
        with pytest.raises(NoPlace, match="too many browsers"), places.taken("player", "operate"):
            pass
        for _ in range(4):
            taken.enter_context(places.taken(None, "operate"))
        with pytest.raises(NoPlace, match="too many browsers"), places.taken(None, "operate"):
            pass
    with places.taken("guest", "view"):
        pass


def test_a_pairing_has_four() -> None:
    """A browser opens the page in four windows; a fifth is refused until one is closed. This machine may open more."""
    places = LivePlaces()
    with ExitStack() as taken:
        for _ in range(3):
            taken.enter_context(places.taken("guest", "view"))
        fourth = ExitStack()
        fourth.enter_context(places.taken("guest", "view"))
        with pytest.raises(NoPlace, match="this browser has too many windows open"), places.taken("guest", "view"):
            pass
        fourth.close()
        taken.enter_context(places.taken("guest", "view"))
        for _ in range(20):
            taken.enter_context(places.taken(None, "operate"))
