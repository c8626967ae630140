"""The state of an engine in words: first what is wrong, then what plays; on one screen, or whole."""

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any, Final, NamedTuple

from engine.cli.output import table_lines, wrapped
from engine.cli.status_words import network_faults_in_words, setlist_in_words, tempo_in_words, timecode_in_words
from engine.plurals import counted, some
from engine.user_error import shortened

_NAMED: Final = 4  # names in a folded line
_TEXT: Final = 150  # characters of the text of a scene or a song
_MORE: Final = "bayleaf status --all shows everything"
#: columns of the ports, and their keys in the status
_COLUMNS: Final = {"state": "state", "messages": "messages", "bytes": "bytes", "dropped": "dropped", "left out": "shed"}

_Found = dict[str, Any]


class _Block(NamedTuple):
    """Lines that belong together, and what takes their place where there is no room for them."""

    full: list[str]
    folded: list[str]


def whole_status(found: _Found) -> list[str]:
    """All lines, however many. `found`: the engine's status, and the log of its panel."""
    return [*_head(found), *_wrong(found, each=True), *(line for block in _blocks(found) for line in block.full)]


def status_on_screen(found: _Found, width: int, height: int) -> list[str]:
    """At most this many lines of at most this width. The longest parts are folded first, what is wrong last."""
    head, wrong = _wrapped(_head(found), width), _wrapped(_wrong(found, each=False), width)
    blocks = [_Block(*(_wrapped(lines, width) for lines in block)) for block in _blocks(found)]
    shown, folded = [block.full for block in blocks], [block.folded for block in blocks]
    if _length([head, wrong, *shown]) <= height:
        return [*head, *wrong, *(line for lines in shown for line in lines)]
    room = height - _length([head, wrong]) - 1  # for the line about the rest
    while _length(shown) > room:
        longest = max(range(len(shown)), key=lambda place: len(shown[place]) - len(folded[place]))
        if shown[longest] is folded[longest]:
            break
        shown[longest] = folded[longest]
    rest = [line for lines in shown for line in lines]
    if len(rest) > room:
        rest = rest[: max(room, len(folded))]
        wrong = wrong[: height - len(head) - len(rest) - 1]
    return [*head, *wrong, *rest, _MORE]


def _length(parts: Sequence[Sequence[str]]) -> int:
    return sum(map(len, parts))


def _wrapped(lines: Sequence[str], width: int) -> list[str]:
    return wrapped("\n".join(lines), width) if lines else []


# What the parts say


def _head(found: _Found) -> list[str]:
    scene, setlist = found["scene"], found["setlist"]
    place = f"place {setlist['place']} of {len(setlist['scenes'])}"
    loaded = found["loaded"]
    return [
        f"{found['rig']}: {_scene(scene) if scene else 'no scene yet'}",
        *_text(scene),
        f"{setlist_in_words(setlist)}: {place}; {counted(found['sounding'], 'note')} sounding",
        *_song(found),
        *_text(found["song"]),
        *([f"loaded by show control: scene {loaded['number']} {loaded['name']} comes next"] if loaded else []),
    ]


def _text(shown: _Found | None) -> list[str]:
    """The text of a scene or a song, cut if it is long."""
    return [textwrap.shorten(shown["text"], _TEXT, placeholder=" …")] if shown and "text" in shown else []


def _player(name: str, theirs: _Found) -> str:
    scene = _scene(theirs["scene"]) if theirs["scene"] else "no scene yet"
    place = f"set list {theirs['setlist']}: place {theirs['place']} of {len(theirs['scenes'])}"
    return "; ".join((f"{name}: {scene}", place, *_song(theirs)))


def _scene(scene: _Found) -> str:
    cue = f" (cue {scene['cue']})" if "cue" in scene else ""
    return f"scene {scene['number']} {scene['name']}{cue}"


def _song(found: _Found) -> list[str]:
    song, step = found["song"], found["step"]
    transposed = step + (song["transpose"] if song else 0)
    parts = [f"song {song['name']}"] if song else []
    parts += [f"transposed by {transposed:+d}"] if transposed else []
    return ["; ".join(parts)] if parts else []


def _wrong(found: _Found, each: bool) -> list[str]:
    """`each`: of several missing ports every one has a line with its reason."""
    return [f"! {line}" for line in (*_ports_at_fault(found, each), *_faults(found))]


def _ports_at_fault(found: _Found, each: bool) -> Iterator[str]:
    for way in ("inputs", "outputs"):
        missing = [port for port in found[way] if port["state"] == "missing"]
        if each or len(missing) == 1:
            yield from (f"{way[:-1]} {port['name']} is missing: {port['last_error']}" for port in missing)
        elif missing:
            yield f"{len(missing)} of {counted(len(found[way]), way[:-1])} are missing: {_named(missing)}"
        if silent := [port for port in found[way] if port["state"] == "silent"]:
            yield f"active sensing has stopped at {_named(silent)}"
        if shed := [port for port in found[way] if port["shed"]]:
            yield f"messages were left out at {_named(shed)}"


def _named(ports: Sequence[_Found]) -> str:
    return some([port["name"] for port in ports], _NAMED)


def _faults(found: _Found) -> Iterator[str]:
    for way in found["muted"]:
        yield f"muted: what goes to {way['output']} comes back at {way['input']}, a loop"
    for name, count in found["filter_faults"].items():
        yield f"filter {name} failed {counted(count, 'time')} and was bypassed"
    if found["log"]["faults"]:
        yield f"{counted(found['log']['faults'], 'fault')} of Bayleaf itself; see the fault log"
    if found["refused_rig"]:
        reason = shortened(found["refused_rig"], "bayleaf check lists them")
        yield f"the rig file on disk was rejected; the current rig keeps playing:\n{reason}"
    if "network" in found:
        yield from network_faults_in_words(found["network"])


def _blocks(found: _Found) -> Iterator[_Block]:
    players = [_player(name, theirs) for name, theirs in found["players"].items()]
    yield _Block(["", *players] if players else [], [f"players: {some(players, _NAMED)}"] if players else [])
    for way in ("inputs", "outputs"):
        yield _Block(_port_table(found[way], way[:-1]), [_ports_in_words(found[way], way)])
    yield _sounds(found)
    rest = [*_sync(found), *_health(found), *_logs(found)]
    yield _Block(["", *rest], rest)
    if "network" in found:
        yield _network(found["network"])


def _port_table(ports: Sequence[_Found], title: str) -> list[str]:
    rows = [(port["name"], *(port[key] for key in _COLUMNS.values())) for port in ports]
    return ["", *table_lines((title, *_COLUMNS), rows)]


def _ports_in_words(ports: Sequence[_Found], way: str) -> str:
    states = [port["state"] for port in ports]
    there = ", ".join(f"{states.count(state)} {state}" for state in dict.fromkeys(states))
    return f"{way}: {there or 'none'}; {counted(sum(port['messages'] for port in ports), 'message')}"


def _sounds(found: _Found) -> _Block:
    on = {gear: f" (on channel {channel})" for gear, channel in found["channels"].items()}
    sounds = [
        f"{gear}: {sound or 'a sound without a name'}{on.get(gear, '')}" for gear, sound in found["sounds"].items()
    ]
    missing = [port["name"] for port in found["outputs"] if port["state"] == "missing"]
    full = sounds
    if missing and sounds:
        are = "is" if len(missing) == 1 else "are"
        full = [*sounds, f"({some(missing, _NAMED)} {are} missing: the instruments there did not get their sounds)"]
    return _Block(["", *full] if full else [], [f"sounds: {some(sounds, _NAMED)}"] if sounds else [])


def _sync(found: _Found) -> Iterator[str]:
    if found["tempo"] is not None:
        yield f"clock: {tempo_in_words(found)}"
    if found["timecode"] is not None:
        yield f"time code: {timecode_in_words(found)}"
    if found["muted_routes"]:
        yield f"muted routes: {', '.join(found['muted_routes'])}"


def _health(found: _Found) -> Iterator[str]:
    latency, recorder = found["latency"], found["recorder"]
    if latency["p50_ms"] is not None:
        figures = ", ".join(f"{key[:-3].replace('_9', '.9')} {value:.2f} ms" for key, value in latency.items())
        yield f"from reading a message to handing it on: {figures}"
    if found["driver"]:
        yield f"ports: {found['driver']}"
    yield f"{'compiled' if found['compiled'] else 'interpreted'}; {found['scheduling']}"
    yield (
        f"recorder: {recorder['seconds']} s, {counted(recorder['events'], 'event')} "
        "(save them with: bayleaf keep FILE.mid)"
    )


def _logs(found: _Found) -> Iterator[str]:
    log, panel = found["log"], found["panel_log"]
    if log["file"] is not None:
        unwritten = f"; it could not be written: {log['error']}" if log["error"] else ""
        yield f"fault log: {log['file']} ({counted(log['faults'], 'fault', zero='no')}{unwritten})"
    if panel is not None:
        yield f"fault log of the front panel: {panel['file']} (last fault {panel['last']})"


def _network(found: _Found) -> _Block:
    leader = f"{found['in_charge']} is in charge" if found["in_charge"] else "no machine is in charge yet"
    line = f"network: this is {found['machine']}; {leader}"
    columns = ("machine", "role", "connected", "played by", "round trip (median, longest of a minute)")
    rows = [
        (
            each["name"],
            "engine" if each["engine"] else "lender",
            "yes" if each["there"] else "no",
            each["played_by"] or "",
            _round_trip(each["round_trip"]),
        )
        for each in found["machines"]
    ]
    there = sum(each["there"] for each in found["machines"])
    return _Block(
        ["", line, *table_lines(columns, rows)], [f"{line}; {there} of {counted(len(rows), 'machine')} connected"]
    )


def _round_trip(found: dict[str, float] | None) -> str:
    return "" if found is None else f"{found['median']:.2f} ms, {found['most']:.2f} ms"
