"""`bayleaf status`: shows what the engine is doing."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from engine.cli.options import Json, Name
from engine.cli.output import as_json, print_line, table
from engine.cli.status_words import network_faults_in_words, setlist_in_words, tempo_in_words, timecode_in_words
from engine.fault_log import panel_log_file
from engine.live.socket import client
from engine.plurals import counted, plural
from engine.user_error import shortened


def status(name: Name = "bayleaf", json: Json = False) -> None:
    """Show scene, ports, counters and latencies of the engine."""
    found = client.ask(name, {"do": "status"})["status"]
    found["panel_log"] = _panel_log(name)
    if json:
        as_json(found)
        return
    scene, setlist = found["scene"], found["setlist"]
    print_line(f"{found['rig']}: " + (f"scene {scene['number']} {scene['name']}" if scene else "no scene yet"))
    place = f"place {setlist['place']} of {len(setlist['scenes'])}"
    print_line(f"{setlist_in_words(setlist)}: {place}; {counted(found['sounding'], 'note')} sounding")
    if found["loaded"] is not None:
        print_line(f"loaded by show control: scene {found['loaded']['number']} {found['loaded']['name']} comes next")
    for way in ("inputs", "outputs"):
        columns = (way[:-1], "state", "messages", "bytes", "dropped", "left out", "last error")
        keys = ("name", "state", "messages", "bytes", "dropped", "shed", "last_error")
        table(columns, [tuple(port[key] for key in keys) for port in found[way]])
    for instrument, sound in found["sounds"].items():
        print_line(f"{instrument}: {sound or 'a sound without a name'}")
    missing = [port["name"] for port in found["outputs"] if port["state"] == "missing"]
    if missing and found["sounds"]:
        print_line(
            f"(instruments on {', '.join(missing)} did not get these sounds: {plural(len(missing), 'output')} missing)"
        )
    for line in (*_sync(found), *_health(found), *_faults(found)):
        print_line(line)
    if "network" in found:
        _show_network(found["network"])


def _sync(found: dict[str, Any]) -> Iterator[str]:
    if found["tempo"] is not None:
        yield f"clock: {tempo_in_words(found)}"
    if found["timecode"] is not None:
        yield f"time code: {timecode_in_words(found)}"


def _health(found: dict[str, Any]) -> Iterator[str]:
    latency, recorder = found["latency"], found["recorder"]
    if latency["p50_ms"] is not None:
        figures = ", ".join(f"{key[:-3].replace('_9', '.9')} {value:.2f} ms" for key, value in latency.items())
        yield f"from reading a message to handing it on: {figures}"
    yield found["scheduling"]
    yield (
        f"recorder: {recorder['seconds']} s, {counted(recorder['events'], 'event')} "
        "(save them with: bayleaf keep FILE.mid)"
    )


def _faults(found: dict[str, Any]) -> Iterator[str]:
    if found["muted_routes"]:
        yield f"muted routes: {', '.join(found['muted_routes'])}"
    for way in found["muted"]:
        yield f"muted: what goes to {way['output']} comes back at {way['input']}, a loop"
    for name, count in found["filter_faults"].items():
        yield f"filter {name} failed {counted(count, 'time')} and was bypassed"
    yield from _fault_log(found["log"])
    if found["panel_log"] is not None:
        yield f"fault log of the front panel: {found['panel_log']['file']} (last fault {found['panel_log']['last']})"
    if found["refused_rig"]:
        reason = shortened(found["refused_rig"], "bayleaf check lists them")
        yield f"the rig file on disk was rejected; the current rig keeps playing:\n{reason}"


def _fault_log(log: dict[str, Any]) -> Iterator[str]:
    if log["file"] is not None:
        unwritten = f"; it could not be written: {log['error']}" if log["error"] else ""
        yield f"fault log: {log['file']} ({counted(log['faults'], 'fault', zero='no')}{unwritten})"


def _panel_log(name: str) -> dict[str, Any] | None:
    """The log of the front panel, a process of its own, and when it was last written; None if there is none."""
    file = panel_log_file(name)
    try:
        last = file.stat().st_mtime
    except OSError:
        return None
    return {"file": str(file), "last": datetime.fromtimestamp(last).isoformat(" ", "seconds")}


def _show_network(found: dict[str, Any]) -> None:
    leader = f"{found['in_charge']} is in charge" if found["in_charge"] else "no machine is in charge yet"
    print_line(f"network: this is {found['machine']}; {leader}")
    columns = ("machine", "role", "connected", "played by", "round trip (median, longest of a minute)")
    table(
        columns,
        [
            (
                each["name"],
                "engine" if each["engine"] else "lender",
                "yes" if each["there"] else "no",
                each["played_by"] or "",
                _round_trip(each["round_trip"]),
            )
            for each in found["machines"]
        ],
    )
    for line in network_faults_in_words(found):
        print_line(line)


def _round_trip(found: dict[str, float] | None) -> str:
    return "" if found is None else f"{found['median']:.2f} ms, {found['most']:.2f} ms"
