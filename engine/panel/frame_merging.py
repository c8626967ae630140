"""The engine's frames, and how they are merged for a browser that did not take each of them."""

import json
from functools import cached_property
from typing import Any, Final

Facts = dict[str, Any]

_MOST_EVENTS: Final = 40  # of a frame
_MOST_TOLD: Final = 100  # notices of a frame
#: what is new in each frame; all else holds until another value comes
_PASSING: Final = ("activity", "events", "left_out")
_ASKED_FOR: Final = ("events", "left_out")


class StatusFrame:
    """One frame; its JSON is written once, however many browsers get it."""

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
    """The facts that still hold when the next frame comes."""
    return {key: value for key, value in facts.items() if key not in _PASSING}


def merged(earlier: Facts, later: Facts) -> Facts:
    """The facts of both in one frame, no larger than one."""
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
    """The newest notices of both; a browser that reconnects may see one twice."""
    last = earlier[-1]["at"] if earlier else None
    return [*earlier, *(each for each in later if last is None or each["at"] > last)][-_MOST_TOLD:]


def _sum(earlier: list[int], later: list[int]) -> list[int]:
    """Ports that an edit has added start at 0; an index never changes its port."""
    before = earlier + [0] * (len(later) - len(earlier))
    return [one + other for one, other in zip(before, later, strict=False)]
