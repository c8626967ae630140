"""Checks of the spare channels of instruments: each belongs to one instrument alone, and to it once."""

from collections.abc import Iterator

from engine.rig.read.raw_data import Complaint, Data, Keys, table


def check_spares(data: Data) -> Iterator[Complaint]:
    """All mistakes in `spare`. It reads the raw data; values of the wrong kind are passed over."""
    instruments = {name: gear for name, gear in table(data, "instruments").items() if isinstance(gear, dict)}
    for name, gear in instruments.items():
        spare = gear.get("spare")
        if not isinstance(spare, list) or not spare:
            continue
        others = {other: each for other, each in instruments.items() if other != name and _same_output(gear, each)}
        for place, channel in enumerate(spare):
            text = _objection(channel, spare[:place], gear, others)
            if text:
                yield Complaint(("instruments", name, "spare", place), text)
        yield from _whole(data, name, gear, others)


def _same_output(gear: Data, other: Data) -> bool:
    return isinstance(gear.get("output"), str) and gear.get("output") == other.get("output")


def _objection(channel: object, before: list[object], gear: Data, others: Data) -> str:
    if channel in before:
        return f"found {channel} twice; give each spare channel once"
    if channel == gear.get("channel"):
        return f"found {channel}, the channel of the instrument itself; give others that its gear receives on"
    for name, other in others.items():
        spare = other.get("spare")
        if channel == other.get("channel"):
            return f'found {channel}, the channel of "{name}" on the same output; choose another'
        if isinstance(spare, list) and channel in spare:
            return f'found {channel}, a spare channel of "{name}" on the same output; choose another'
    return ""


def _whole(data: Data, name: str, gear: Data, others: Data) -> Iterator[Complaint]:
    """What makes spare channels impossible, whichever they are."""
    keys: Keys = ("instruments", name, "spare")
    for other, each in others.items():
        if each.get("channel") == gear.get("channel"):
            text = f'"{other}" has the same channel, and would have to move with "{name}"; leave out spare'
            yield Complaint(keys, text)
    if _has_mpe(data, gear.get("through"), set()):
        yield Complaint(keys, "the filter mpe makes it play on a zone of channels of its own; leave out spare")
    for sound, settings in table(gear, "sounds").items():
        send = settings.get("send") if isinstance(settings, dict) else None
        if any(isinstance(line, str) and line.strip().upper().startswith("F0") for line in _listed(send)):
            text = "found SysEx, which says by itself what channel it is for, at an instrument with spare channels"
            yield Complaint(("instruments", name, "sounds", sound, "send"), f"{text}; leave out its spare")


def _listed(found: object) -> list[object]:
    return found if isinstance(found, list) else [found]


def _has_mpe(data: Data, chain: object, seen: set[str]) -> bool:
    """Whether this filter is in a chain, or in one that is named there."""
    for each in _listed(chain):
        if isinstance(each, dict) and each.get("filter") == "mpe":
            return True
        if isinstance(each, str) and each not in seen:
            seen.add(each)
            if _has_mpe(data, table(data, "chains").get(each), seen):
                return True
    return False
