"""The state of the running show as plain values, for `bayleaf status` and other clients."""

from typing import Any

from engine.core import scene_snapshot
from engine.core.control.stack import Stack
from engine.core.engine import Engine
from engine.fault_log import faults
from engine.live.meters import PortMeter
from engine.live.show import Show
from engine.which_build import is_compiled


def status(show: Show) -> dict[str, Any]:
    """The whole state, as plain values. Loop only."""
    engine = show.engine
    return {
        "rig": engine.rig.rig.name,
        "scene": scene_facts(engine, engine.scene),
        "setlist": {
            "name": engine.state.main.setlist.name,
            "place": engine.state.main.setlist.place + 1,
            "scenes": list(engine.state.main.setlist.numbers),
        },
        "song": song_facts(engine, engine.state.main),
        "step": engine.state.main.step,
        "loaded": _loaded(engine, engine.state.main),
        "players": {name: player_facts(engine, stack) for name, stack in engine.state.stacks.items() if name},
        "setlists": [name for name in engine.state.compiled.setlists if name],
        "muted_routes": sorted(engine.state.muted),
        "sounds": scene_snapshot.sounds(engine),
        "channels": scene_snapshot.channels(engine),
        "sounding": engine.state.ledger.sounding(),
        "off_rest": engine.state.ledger.off_rest(),
        "inputs": _inputs(show),
        "outputs": _outputs(show),
        **sync(show),
        "muted": [
            {"input": engine.inputs[source], "output": engine.outputs[output]}
            for source, output in sorted(engine.state.loops.muted)
        ],
        "muted_messages": engine.state.loops.dropped,
        "latency": show.latency.percentiles(),
        "scheduling": show.scheduling,
        "compiled": is_compiled(),
        "driver": show.driver(),
        "recorder": show.recorder.size(),
        "refused_rig": show.refused,
        "own_faults": show.own_faults,
        "log": faults.status(),
        "filter_faults": dict(engine.state.faults.counts),
        "running_s": round((show.clock() - show.started_at) / 1e9, 1),
    }


def player_facts(engine: Engine, stack: Stack) -> dict[str, Any]:
    """Where a player is: scene in force and next, set list with the place in it (from 1), song, transposition."""
    return {
        "scene": scene_facts(engine, stack.in_force),
        "next": next_facts(engine, stack),
        "setlist": stack.setlist.name,
        "place": stack.setlist.place + 1,
        "scenes": list(stack.setlist.numbers),
        "song": song_facts(engine, stack),
        "step": stack.step,
        "loaded": _loaded(engine, stack),
    }


def next_facts(engine: Engine, stack: Stack) -> dict[str, Any] | None:
    """The scene that comes next."""
    following = stack.setlist.beside(1)
    if following is None:
        return None
    return scene_facts(engine, (following, engine.state.compiled.scenes[following].name))


def _loaded(engine: Engine, stack: Stack) -> dict[str, Any] | None:
    """The scene that show control has loaded: it comes next."""
    return next_facts(engine, stack) if stack.setlist.loaded is not None else None


def scene_facts(engine: Engine, scene: tuple[int, str] | None) -> dict[str, Any] | None:
    """A scene by number and name, with its label in the prompt book and its text if it has them."""
    if scene is None:
        return None
    found = engine.rig.scene(scene[0])
    more = {"cue": found.cue, "text": found.text} if found is not None else {}
    return {"number": scene[0], "name": scene[1]} | {key: value for key, value in more.items() if value}


def song_facts(engine: Engine, stack: Stack) -> dict[str, Any] | None:
    """The song in force by name, with its transposition in semitones and, if it has one, its text."""
    song = engine.state.song_of(stack)
    if song is None:
        return None
    return {"name": song.name, "transpose": song.transpose} | ({"text": song.text} if song.text else {})


def sync(show: Show) -> dict[str, Any]:
    """Tempo and time code."""
    now, found = show.clock(), show.engine.state.sync
    bpm, shown = found.bpm(now), found.shown(now)
    return {
        "tempo": round(bpm, 1) if bpm is not None else None,
        "clock_from": found.clock_source(now),
        "clocks_skipped": found.clock.skipped if found.clock is not None else 0,
        "timecode": str(shown.label) if shown else None,
        "timecode_rate": shown.label.rate.name if shown else None,
        "timecode_runs": shown.running if shown else False,
        "timecode_from": shown.source if shown else None,
    }


def _inputs(show: Show) -> list[dict[str, Any]]:
    repairs, silent = show.reader.repairs(), show.engine.state.sensing.silent
    return [
        {
            "name": name,
            **_port(meter, "silent" if index in silent else "open"),
            "shed": show.reader.shed(index),
            "repairs": repairs.get(index, 0),
        }
        for index, (name, meter) in enumerate(zip(show.inputs, show.ports.in_meters, strict=True))
        if name in show.engine.rig.inputs
    ]


def _outputs(show: Show) -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            **_port(meter, "open"),
            "shed": cable.counts.shed,
            "replaced": cable.counts.replaced,
        }
        for name, meter, cable in zip(show.outputs, show.ports.out_meters, show.engine.state.cables, strict=True)
        if name in show.engine.rig.outputs
    ]


def _port(meter: PortMeter, there: str) -> dict[str, Any]:
    return {
        "state": there if meter.open else "missing",
        "port": meter.port,
        "since": round(meter.since, 1),
        "messages": meter.messages,
        "bytes": meter.octets,
        "dropped": meter.dropped,
        "returns": meter.returns,
        "last_error": meter.last_error,
    }
