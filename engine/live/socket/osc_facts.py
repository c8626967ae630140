"""What control surfaces are sent about the show by Open Sound Control: a few facts when they change, or all of them."""

from collections.abc import Iterator

from engine.live.show import Show
from engine.live.socket.osc_packets import Value, osc_message


def osc_now(show: Show) -> bytes:
    """Number and name of the scene in force; 0 and an empty name before the first."""
    return osc_message("now", *(show.engine.scene or (0, "")))


def facts(show: Show) -> dict[str, tuple[Value, ...]]:
    """What surfaces are sent on every change, by the word of its message."""
    engine = show.engine
    coming, bpm = engine.state.main.setlist.beside(1), engine.state.sync.bpm(show.clock())
    song = engine.state.song_of(engine.state.main)
    return {
        "now": engine.scene or (0, ""),
        "coming": (coming, engine.state.compiled.scenes[coming].name) if coming is not None else (0, ""),
        "tempo": (round(float(bpm or 0), 1),),
        "song_now": (song.name if song is not None else "",),
        "transposed": (engine.state.transposed(engine.state.main),),
    }


def everything(show: Show) -> Iterator[bytes]:
    """All that a surface needs to draw itself, message by message, as it was when the first was asked for."""
    state = show.engine.state
    setlist, compiled, muted = state.main.setlist, state.compiled, frozenset(state.muted)
    numbers, clock = setlist.numbers, state.sync.clock
    scene = compiled.rig.scene(state.main.scene.number) if state.main.scene is not None else None
    yield from [osc_message(what, *values) for what, values in facts(show).items()]
    yield osc_message("cue", (scene.cue if scene is not None else None) or "")
    yield osc_message("text", (scene.text if scene is not None else None) or "")
    yield osc_message("running", clock is not None and clock.running)
    yield osc_message("order", setlist.name or "", setlist.place + 1, len(numbers))
    for place, number in enumerate(numbers, 1):
        yield osc_message("listed", place, number, compiled.scenes[number].name)
    for song in compiled.songs:
        yield osc_message("song_listed", song)
    for route in sorted(compiled.route_names):
        yield osc_message("route", route, route in muted)
    yield osc_message("complete")
