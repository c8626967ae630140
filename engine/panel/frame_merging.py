"""What the engine tells its followers, put together for a browser that did not take every frame."""

import json
from functools import cached_property
from typing import Any, Final

Facts = dict[str, Any]

_MOST_EVENTS: Final = 40  # of a frame
_MOST_TOLD: Final = 100  # the same of sentences
#: what is new in each frame; all else holds until another value comes
_PASSING: Final = ("activity", "events", "left_out")
_ASKED_FOR: Final = ("events", "left_out")


class StatusFrame:
    """One frame; its texts are made once, however many browsers get them."""

    def __init__(self, facts: Facts) -> None:
        """`facts` as the engine sent them; unchanged ones may be missing."""
        self.facts = facts

    @cached_property
    def whole(self) -> str:
        """With the messages that passed."""
        return json.dumps({"frame": self.facts})

    @cached_property
    def plain(self) -> str:
        """For a browser that shows no messages."""
        if "events" not in self.facts:
            return self.whole
        return json.dumps({"frame": {key: value for key, value in self.facts.items() if key not in _ASKED_FOR}})


def lasting(facts: Facts) -> Facts:
    """What still holds when the next frame comes."""
    return {key: value for key, value in facts.items() if key not in _PASSING}


def merged(earlier: Facts, later: Facts) -> Facts:
    """One frame that tells what both do, no longer than one."""
    both = {**earlier, **later}
    if "activity" in earlier and "activity" in later:
        both["activity"] = {way: _sum(earlier["activity"][way], later["activity"][way]) for way in later["activity"]}
    if "events" in earlier and "events" in later:
        events = [*earlier["events"], *later["events"]]
        both["events"] = events[-_MOST_EVENTS:]
        both["left_out"] = earlier.get("left_out", 0) + later.get("left_out", 0) + max(0, len(events) - _MOST_EVENTS)
    if "told" in earlier and "told" in later:
        both["told"] = _all_told(earlier["told"], later["told"])
    return both


def _all_told(earlier: list[Facts], later: list[Facts]) -> list[Facts]:
    """The newest sentences of both; what holds for now is told to a browser that comes anew, perhaps once more."""
    last = earlier[-1]["at"] if earlier else None
    return [*earlier, *(each for each in later if last is None or each["at"] > last)][-_MOST_TOLD:]


def _sum(earlier: list[int], later: list[int]) -> list[int]:
    """Ports that an edit added count from nothing; an index never changes its port."""
    before = earlier + [0] * (len(later) - len(earlier))
    return [one + other for one, other in zip(before, later, strict=False)]
