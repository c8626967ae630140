"""Commands to a running engine: scene, next, back, panic, resend, status, watch."""

import contextlib
import time
from collections.abc import Iterator
from typing import Annotated, Any

import typer

from engine.cli.output import CommandError, Json, Name, as_json, in_json, table
from engine.cli.sweep_folding import folded
from engine.live.socket import client


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    for name, command in (
        ("scene", scene),
        ("next", forward),
        ("back", back),
        ("first", first),
        ("setlist", setlist),
        ("panic", panic),
        ("resend", resend),
        ("mute", mute),
        ("unmute", unmute),
        ("clock", clock),
        ("timecode", timecode),
        ("handover", handover),
        ("status", status),
        ("watch", watch),
    ):
        app.command(name)(command)


def scene(
    scene: Annotated[str, typer.Argument(help="The scene's number or name.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Recall a scene by number or name."""
    _act(name, {"do": "scene", "scene": scene}, json)


def forward(name: Name = "bayleaf", json: Json = False) -> None:
    """Recall the next scene of the set list."""
    _act(name, {"do": "next"}, json)


def back(name: Name = "bayleaf", json: Json = False) -> None:
    """Recall the scene before this one in the set list."""
    _act(name, {"do": "back"}, json)


def first(name: Name = "bayleaf", json: Json = False) -> None:
    """Recall the first scene of the set list."""
    _act(name, {"do": "first"}, json)


def setlist(
    chosen: Annotated[str | None, typer.Argument(help="The set list to use from now on.")] = None,
    entry: Annotated[int | None, typer.Option("--entry", help="Recall this entry of the list, from 1.")] = None,
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Show the set list in use and the place in it, use another one, or jump to an entry."""
    if chosen is not None:
        answer = _obeyed(name, {"do": "setlist", "setlist": chosen})
        if entry is None or not json:  # JSON is one answer, the last
            _tell(answer, json)
    if entry is not None:
        _act(name, {"do": "entry", "entry": entry}, json)
    if chosen is None and entry is None:
        found = client.ask(name, {"do": "status"})["status"]
        _show_setlist(found["setlist"], found["setlists"], json)


def _show_setlist(found: dict[str, Any], known: list[str], json: bool) -> None:
    if json:
        as_json({**found, "setlists": known})
        return
    print(_called(found) + (f" (there are: {', '.join(known)})" if len(known) > 1 else ""))
    entries = enumerate(found["scenes"], 1)
    table(("entry", "scene", ""), [(at, scene, "here" if at == found["place"] else "") for at, scene in entries])


def _called(setlist: dict[str, Any]) -> str:
    return f"set list {setlist['name']}" if setlist["name"] is not None else "the scenes"


def panic(name: Name = "bayleaf", json: Json = False) -> None:
    """Silence everything: notes off, pedals up, all sound off, on every channel of every output."""
    _act(name, {"do": "panic"}, json)


def resend(name: Name = "bayleaf", json: Json = False) -> None:
    """Send the present scene's banks and programs again."""
    _act(name, {"do": "resend"}, json)


def mute(
    route: Annotated[str, typer.Argument(help="The route's name.")], name: Name = "bayleaf", json: Json = False
) -> None:
    """Let a named route carry nothing, in every scene."""
    _act(name, {"do": "mute", "route": route}, json)


def unmute(
    route: Annotated[str, typer.Argument(help="The route's name.")], name: Name = "bayleaf", json: Json = False
) -> None:
    """Let a muted route play again."""
    _act(name, {"do": "unmute", "route": route}, json)


def clock(
    what: Annotated[str, typer.Argument(help="start, continue, stop, tap, or a tempo in beats a minute.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Start, stop or set the rig's own clock."""
    if what == "tap":
        _act(name, {"do": "tap"}, json)
        return
    with contextlib.suppress(ValueError):
        _act(name, {"do": "clock", "what": "tempo", "value": float(what)}, json)
        return
    _act(name, {"do": "clock", "what": what}, json)


def timecode(
    what: Annotated[str, typer.Argument(help="start, stop, or a place to go to, such as 01:00:00:00.")],
    name: Name = "bayleaf",
    json: Json = False,
) -> None:
    """Start, stop or move the rig's own time code."""
    if ":" in what:
        _act(name, {"do": "timecode", "what": "locate", "value": what}, json)
    else:
        _act(name, {"do": "timecode", "what": what}, json)


def handover(name: Name = "bayleaf", json: Json = False) -> None:
    """Let the other machine be in charge, in a quiet moment; said to the one that follows, it takes the show."""
    answer = client.ask(name, {"do": "handover"})
    if not answer["done"]:
        raise CommandError(answer["text"])
    if json:
        as_json(answer)
    else:
        print(answer["text"])


def _act(name: str, request: dict[str, Any], json: bool) -> None:
    _tell(_obeyed(name, request), json)


def _obeyed(name: str, request: dict[str, Any]) -> dict[str, Any]:
    answer = client.ask(name, request)
    # The end of the set list is no fault; a scene that does not exist is.
    if not answer["done"] and request["do"] not in ("next", "back"):
        raise CommandError(answer["text"])
    return answer


def _tell(answer: dict[str, Any], json: bool) -> None:
    if json:
        as_json(answer)
        return
    print(answer["text"] + _cost(answer))


def _cost(answer: dict[str, Any]) -> str:
    parts = []
    if answer["burst_bytes"]:
        parts.append(f"{answer['burst_bytes']} bytes sent")
    if answer["held"] and answer["do"] != "panic":
        parts.append(f"{answer['held']} notes carried over")
    return f" ({'; '.join(parts)})" if parts else ""


def status(name: Name = "bayleaf", json: Json = False) -> None:
    """What the engine is doing: scene, ports, counters, latencies."""
    found = client.ask(name, {"do": "status"})["status"]
    if json:
        as_json(found)
        return
    scene = found["scene"]
    print(f"{found['rig']}: " + (f"scene {scene['number']} {scene['name']}" if scene else "no scene yet"))
    setlist = found["setlist"]
    print(
        f"{_called(setlist)}: place {setlist['place']} of {len(setlist['scenes'])}; {found['sounding']} notes sounding"
    )
    for way in ("inputs", "outputs"):
        columns = (way[:-1], "state", "messages", "bytes", "dropped", "shed", "last error")
        keys = ("name", "state", "messages", "bytes", "dropped", "shed", "last_error")
        table(columns, [tuple(port[key] for key in keys) for port in found[way]])
    for instrument, sound in found["sounds"].items():
        print(f"{instrument}: {sound or 'a sound without a name'}")
    for line in _health(found):
        print(line)
    if "network" in found:
        _show_network(found["network"])


def _show_network(found: dict[str, Any]) -> None:
    leader = found["in_charge"] or "nobody yet"
    print(f"network: this is {found['machine']}; {leader} is in charge")
    columns = ("machine", "", "there", "played by", "there and back, the most of a minute")
    table(
        columns,
        [
            (
                each["name"],
                "engine" if each["engine"] else "lends",
                "yes" if each["there"] else "no",
                each["played_by"] or "",
                _trip(each["round_trip"]),
            )
            for each in found["machines"]
        ],
    )


def _trip(found: dict[str, float] | None) -> str:
    return "" if found is None else f"{found['median']:.2f} ms, {found['most']:.2f} ms"


def _health(found: dict[str, Any]) -> Iterator[str]:
    """What is to be known beside the ports, a line each."""
    latency, recorder = found["latency"], found["recorder"]
    if found["tempo"] is not None:
        yield f"clock: {found['tempo']:.1f} beats a minute, from {found['clock_from'] or 'nowhere: it stands'}"
    if found["timecode"] is not None:
        yield f"time code: {_place(found)}"
    if latency["p50_ms"] is not None:
        figures = ", ".join(f"{key[:-3].replace('_9', '.9')} {value:.2f} ms" for key, value in latency.items())
        yield f"from reading a message to handing it on: {figures}"
    yield (
        f"{found['scheduling']}\n"
        f"recorder: {recorder['events']} entries of the last {recorder['seconds']} s "
        f"in {recorder['bytes'] / 1e6:.1f} MB (save them with: bayleaf keep FILE.mid)"
    )
    if found["muted_routes"]:
        yield f"muted routes: {', '.join(found['muted_routes'])}"
    for way in found["muted"]:
        yield f"muted: what goes to {way['output']} comes back at {way['input']}, a loop"
    for name, count in found["filter_faults"].items():
        yield f"filter {name} failed {count} times and was stepped over"
    yield from _fault_log(found["log"])
    if found["refused_rig"]:
        yield f"the rig file as it is now was refused, and what plays plays on:\n{found['refused_rig']}"


def _fault_log(log: dict[str, Any]) -> Iterator[str]:
    if log["file"] is None:
        return
    counted = {0: "no faults", 1: "1 fault"}.get(log["faults"], f"{log['faults']} faults")
    unwritten = f"; it could not be written: {log['error']}" if log["error"] else ""
    yield f"fault log: {log['file']} ({counted}{unwritten})"


def _place(found: dict[str, Any]) -> str:
    runs = "runs" if found["timecode_runs"] else "stands"
    return f"{found['timecode']} ({found['timecode_rate']} frames, {runs}), from {found['timecode_from']}"


def watch(name: Name = "bayleaf", json: Json = False) -> None:
    """Show what goes in and out as it passes, in musicians' words (Ctrl-C ends it).

    Clock and time code are not shown message by message but as the tempo and the time, each second and when they stop;
    the same message on many channels, as a panic sends, is shown in one line.
    """
    shown: tuple[Any, ...] = ()
    with contextlib.suppress(KeyboardInterrupt):
        for batch in client.watch(name):
            if json:
                for event in batch["events"]:
                    print(in_json(event), flush=True)
            else:
                for event, said in folded([event for event in batch["events"] if not _is_time(event)]):
                    print(_in_words(event, said), flush=True)
            before, shown = shown, _second(batch["sync"])
            if shown != before:
                print(in_json({"way": "time", **batch["sync"]}) if json else _time_in_words(batch["sync"]), flush=True)


def _is_time(event: dict[str, Any]) -> bool:
    """Clock and quarter frames."""
    return bool(event["message"]) and event["message"][:2] in ("F8", "F1")


def _second(sync: dict[str, Any]) -> tuple[Any, ...]:
    """What of the time is worth a line of its own: a new second, a start or stop, another tempo."""
    code = sync["timecode"]
    return code and code[:8], sync["timecode_runs"], sync["clock_from"], round(sync["tempo"] or 0)


def _time_in_words(sync: dict[str, Any]) -> str:
    parts = []
    if sync["timecode"]:
        parts.append(_place(sync))
    if sync["tempo"]:
        parts.append(f"{sync['tempo']:.1f} beats a minute, from {sync['clock_from'] or 'nowhere: it stands'}")
    return f"{time.strftime('%H:%M:%S')} time {'':14} {'; '.join(parts) or 'no clock, no time code'}"


def _in_words(event: dict[str, Any], said: str) -> str:
    ago = (time.monotonic_ns() - event["at"]) / 1e9
    clock = time.strftime("%H:%M:%S", time.localtime(time.time() - ago))
    way = {"in": "in  ", "out": "out ", "told": "---- "}[event["way"]]
    return f"{clock} {way.strip():4} {event['port']:14} {said}"
