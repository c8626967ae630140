"""MPE zones of inputs and instruments in a rig's raw data: the manager channels are filled in, and what does not fit is
reported."""

from collections.abc import Iterator
from typing import Any

from engine.midi.mpe import LOWER_MANAGER, MANAGER_RANGE, MEMBER_RANGE, Zone, zone
from engine.rig.read.raw_data import Complaint, Data, Keys, names, table, tables


def with_managers(data: Data) -> tuple[Data, list[Complaint]]:
    """A rig's data in which each instrument with a zone has its manager channel as its channel, and the mistakes."""
    instruments = data.get("instruments")
    if not isinstance(instruments, dict):
        return data, []
    filled, complaints = {}, []
    for name, gear in instruments.items():
        filled[name] = gear
        if not isinstance(gear, dict) or "mpe" not in gear:
            continue
        found = zone_of(gear)
        filled[name] = {**gear, "channel": found.manager if found is not None else LOWER_MANAGER}
        if "channel" in gear:
            text = "found both mpe and channel; leave out channel, since a zone has its channels"
            complaints.append(Complaint(("instruments", name, "channel"), text))
    return {**data, "instruments": filled}, complaints


def check_zones(data: Data) -> Iterator[Complaint]:
    """All mistakes between zones and channels. It reads the raw data; values of the wrong kind are passed over."""
    yield from _instruments(data)
    for number, scene in tables(data, "scenes"):
        for index, line in tables(scene, "play"):
            yield from _line(data, ("scenes", number, "play", index), line)


def zone_of(found: Any) -> Zone | None:
    """The zone of an input or an instrument; None if it has none, or no proper one."""
    members = table(found, "mpe").get("members")
    if not isinstance(members, list) or len(members) != 2 or not all(type(each) is int for each in members):
        return None
    first, last = members
    try:
        return zone(first, last) if 1 <= first <= last <= 16 else None
    except ValueError:
        return None


def _as_found(port: Any) -> Data | None:
    """The zone of an input with its bend ranges."""
    found = table(port, "mpe")
    return {"bend": MEMBER_RANGE, "manager_bend": MANAGER_RANGE, **found} if found else None


def _instruments(data: Data) -> Iterator[Complaint]:
    instruments = {name: gear for name, gear in table(data, "instruments").items() if isinstance(gear, dict)}
    for name, gear in instruments.items():
        found = zone_of(gear)
        if found is None:
            continue
        keys: Keys = ("instruments", name, "mpe")
        if "spare" in gear:
            yield Complaint(keys, "an instrument with a zone has no channel to spare; leave out mpe or spare")
        if "pressure" in gear:
            yield Complaint((*keys[:2], "pressure"), "each member of a zone has its own; leave out mpe or pressure")
        for other, each in instruments.items():
            if other != name and gear.get("output") == each.get("output"):
                shared = sorted({*found.channels} & _channels(each))
                if shared:
                    text = (
                        f'channel {shared[0]} of the zone is one of "{other}" on the same output; choose other members'
                    )
                    yield Complaint(keys, text)


def _channels(gear: Data) -> set[int]:
    """All channels of an instrument, as far as they are numbers."""
    found, spare = zone_of(gear), gear.get("spare")
    listed = found.channels if found is not None else () if "mpe" in gear else (gear.get("channel"),)
    return {each for each in (*listed, *(spare if isinstance(spare, list) else ())) if isinstance(each, int)}


def _line(data: Data, keys: Keys, line: Data) -> Iterator[Complaint]:
    """Notes of a line come from one kind of input, since its filters are the same for all of them."""
    inputs = table(data, "inputs")
    source = [name for _, name in names(line.get("from"), ()) if name in inputs]
    zones = [_as_found(inputs[name]) for name in source]
    if any(each != zones[0] for each in zones):
        listed = ", ".join(source)
        yield Complaint((*keys, "from"), f"found inputs with different zones ({listed}); give each a line of its own")
    elif "channel" in line and any(zones):
        text = f'"{source[0]}" has an MPE zone, which plays as a whole; leave out channel'
        yield Complaint((*keys, "channel"), text)
