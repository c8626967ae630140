"""The running show, with its messages and its clock driven by hand. (Our own design; standards named where used.)"""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from engine.core.commands import NextScene, Panic, PreviousScene, RecallScene, Resend
from engine.fault_log import faults
from engine.live.port_bank import speed_of
from engine.live.socket.status import status
from engine.ports.memory import MemoryInput
from engine.ports.port import DriverFlow
from filters.registry import registry
from tests.support.small_show import MS, RIG, Bench, FaultyClock

KEYS, PEDALS = 0, 1
BURST = ["B4 00 00", "B4 20 03", "C4 0B"]


def raises(message: bytes, now: int) -> tuple[bytes, ...]:
    """A step of a filter that fails."""
    raise ZeroDivisionError


@pytest.fixture
def bench() -> Bench:
    """The show in scene 1, with its burst and its notices already collected."""
    bench = Bench()
    bench.show.apply(RecallScene(1), "shell")
    bench.heard("strings")
    bench.told()
    return bench


def test_a_message_goes_in_and_out(bench: Bench) -> None:
    """What a keyboard sends comes out at once on the scene's output, and nowhere else, and is counted."""
    bench.play(KEYS, "90 3C 40", "80 3C 11")
    assert (bench.heard("strings"), bench.heard("brass")) == (["90 3C 40", "80 3C 11"], [])
    found = status(bench.show)
    assert [(port["messages"], port["bytes"]) for port in found["inputs"]] == [(2, 6), (0, 0)]
    assert found["outputs"][0]["messages"] == 2 + len(BURST)
    assert bench.show.ports.messages_heard() == 2


def test_what_passes_is_shown_to_watchers(bench: Bench) -> None:
    """A watcher sees each message on its way in and on its way out, until it stops watching."""
    bench.events.clear()
    bench.play(KEYS, "90 3C 40")
    seen = [(event.way, event.port, event.message) for event in bench.events]
    assert seen == [("in", "keys", b"\x90\x3c\x40"), ("out", "strings", b"\x90\x3c\x40")]
    bench.show.unwatch(bench.events)
    bench.play(KEYS, "80 3C 40")
    assert len(bench.events) == 2


def test_a_watcher_that_never_looks_costs_a_bounded_amount(bench: Bench) -> None:
    """When a watcher's queue is full, its oldest events are dropped, not the newest."""
    for _ in range(3000):
        bench.play(KEYS, "90 3C 40", "80 3C 40")
    assert len(bench.events) == 4096
    assert bench.events[-1].message == b"\x80\x3c\x40"


def test_a_scene_change_in_mid_stream(bench: Bench) -> None:
    """Within one batch, messages before the control follow the old scene, messages after it the new one."""
    bench.reader.put(KEYS, "90 3C 40")
    bench.reader.put(PEDALS, "C0 01")
    bench.reader.put(KEYS, "90 40 40", "80 3C 11", "80 40 11")
    bench.show.pump()
    assert bench.heard("strings") == ["90 3C 40", "90 40 40", "80 3C 11", "80 40 11"]
    assert bench.heard("brass") == ["90 40 40", "80 40 11"]
    assert bench.scenes == [1, 2]
    assert bench.told() == [("pedals, channel 1 program 2", "scene 2 March")]
    assert status(bench.show)["scene"] == {"number": 2, "name": "March"}


def test_a_held_note_is_released_where_it_was_pressed(bench: Bench) -> None:
    """A key held across a scene change sounds on the old output until it is released, transposed or not."""
    bench.play(KEYS, "90 3C 40")
    bench.play(PEDALS, "C0 02")
    bench.play(KEYS, "80 3C 11")
    assert (bench.heard("strings"), bench.heard("brass")) == (["90 3C 40", "80 3C 11"], [])


def test_a_scene_that_does_not_exist_is_reported_and_changes_nothing(bench: Bench) -> None:
    """A program change that recalls no scene is consumed and reported; the scene stays and nothing is sent."""
    bench.play(PEDALS, "C0 63")
    assert bench.told() == [("pedals, channel 1 program 100", "there is no scene 100; nothing changed")]
    assert (bench.heard("strings"), bench.heard("brass"), bench.scenes) == ([], [], [1])


def test_commands_answer_and_are_reported(bench: Bench) -> None:
    """next, back, resend and panic from the shell are carried out at once and reported."""
    assert bench.show.apply(NextScene(), "shell").scene == (2, "March")
    assert bench.show.apply(PreviousScene(), "shell").scene == (1, "Overture")
    assert bench.heard("strings") == [], "it is on its sound already"
    assert not bench.show.apply(PreviousScene(), "shell").done
    assert bench.show.apply(Resend(), "shell").done
    assert bench.heard("strings") == BURST
    assert bench.show.apply(Panic(), "shell").done
    assert len(bench.heard("brass")) == 16 * 7  # six controllers and the bender on every channel
    assert bench.scenes == [1, 2, 1]
    assert [text.split(",")[0] for _, text in bench.told()] == [
        "scene 2 March",
        "scene 1 Overture",
        "already at the beginning of the scenes",
        "scene 1 Overture sent again",
        "panic: 0 notes released",
    ]


def test_an_output_that_refuses_is_counted_and_reported_and_the_others_go_on(bench: Bench) -> None:
    """An unplugged output loses only its own messages; the reason is reported once and shown in the status."""
    bench.show.apply(RecallScene(2), "shell")
    bench.told()
    bench.outputs["strings"].unplug()
    bench.play(KEYS, "90 3C 40", "80 3C 40", "90 3E 40")
    assert bench.heard("brass") == ["90 3C 40", "80 3C 40", "90 3E 40"]
    assert bench.told() == [("strings", '"strings" was unplugged')]
    strings = status(bench.show)["outputs"][0]
    assert (strings["dropped"], strings["last_error"]) == (3, '"strings" was unplugged')


def test_a_missing_port_costs_only_what_would_go_there() -> None:
    """A rig with an output and an input missing plays on the rest; the status says which and why."""
    bench = Bench(missing=("strings", "pedals"))
    bench.show.apply(RecallScene(2), "shell")
    bench.play(KEYS, "90 3C 40")
    assert bench.heard("brass") == ["90 3C 40"]
    found = status(bench.show)
    assert [port["state"] for port in found["inputs"]] == ["open", "missing"]
    assert [port["state"] for port in found["outputs"]] == ["missing", "open"]
    assert found["inputs"][1]["last_error"] == 'there is no "pedals"'
    assert found["outputs"][0]["last_error"] == 'there is no "strings"'
    assert found["outputs"][0]["dropped"] == 1


def test_commands_say_what_reached_no_output() -> None:
    """A burst or a panic for a missing output is reported as such, wherever the command came from; what is counted
    is what could leave."""
    bench = Bench(missing=("strings",))
    first = bench.show.apply(RecallScene(1), "shell")
    assert first.sentence == "scene 1 Overture (strings is missing: nothing reached it)"
    assert (first.burst_bytes, first.ready_ns, first.instruments) == (0, 0, 0)
    assert bench.show.apply(RecallScene(2), "shell").sentence == "scene 2 March"  # whose burst is empty
    bench.play(PEDALS, "C0 00")
    panic = bench.show.apply(Panic(), "osc")
    assert panic.text.endswith(" 2 outputs (strings is missing: nothing reached it)")
    assert bench.told() == [
        ("shell", first.sentence),
        ("shell", "scene 2 March"),
        ("pedals, channel 1 program 1", first.sentence),
        ("osc", panic.text),
    ]
    dark = Bench(missing=("strings", "brass"))
    assert dark.show.apply(Panic(), "shell").text.endswith("(strings, brass are missing: nothing reached them)")


def test_a_fault_of_our_own_costs_one_message(bench: Bench) -> None:
    """If routing one message fails, the rest of the batch is played, and the fault is counted and reported."""
    clock = FaultyClock(bench.show)
    clock.fail_after_next()
    bench.play(KEYS, "90 3C 40", "90 3E 40", "80 3C 40")
    assert bench.heard("strings") == ["90 3C 40", "80 3C 40"]
    assert status(bench.show)["own_faults"] == 1
    assert bench.told() == [("engine", "a fault of Bayleaf itself: RuntimeError('a mistake')")]


def test_a_fault_is_logged_and_the_log_is_named(bench: Bench, tmp_path: Path) -> None:
    """The notice names the log file, the file has message and traceback, and the status counts the fault."""
    file = tmp_path / "pit.log"
    with faults.kept_in(file):
        FaultyClock(bench.show).fail()
        bench.play(KEYS, "90 3C 40")
        assert status(bench.show)["log"] == {"file": str(file), "faults": 1, "error": None}
    assert bench.told() == [("engine", f"a fault of Bayleaf itself: RuntimeError('a mistake'); details in {file}")]
    written = file.read_text()
    assert "while routing 90 3C 40 from keys: RuntimeError('a mistake')\nTraceback" in written
    assert "in _read" in written


def test_a_filter_that_fails_is_logged_once(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A filter's first fault is logged with its traceback; the player's notice names the log file."""
    broken = replace(registry()["transpose"], build=lambda settings, surroundings: raises)
    monkeypatch.setattr("engine.core.compiled.registry", lambda: {"transpose": broken})
    file = tmp_path / "pit.log"
    with faults.kept_in(file):
        bench = Bench()
        bench.show.apply(RecallScene(3), "shell")
        bench.play(KEYS, "90 3C 40", "90 3E 40")
        text = dict(bench.told())["filter transpose"]
    assert text.endswith(f"; details in {file}")
    assert file.read_text().count("Traceback") == 1
    assert "while the filter transpose answered: ZeroDivisionError" in file.read_text()


def test_a_fault_in_what_is_due_does_not_stop_the_show(bench: Bench) -> None:
    """If sending what is due on the cables fails, the messages are played all the same."""
    FaultyClock(bench.show).fail_after_next()
    bench.play(KEYS, "90 3C 40")
    assert bench.heard("strings") == ["90 3C 40"]
    assert bench.show.own_faults == 1


def test_a_filter_that_fails_is_stepped_over_and_reported_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A filter that raises leaves its messages as they were; the fault is counted, and reported once."""
    broken = replace(registry()["transpose"], build=lambda settings, surroundings: raises)
    monkeypatch.setattr("engine.core.compiled.registry", lambda: {"transpose": broken})
    bench = Bench()
    bench.show.apply(RecallScene(3), "shell")
    bench.told()
    bench.play(KEYS, "90 3C 40", "80 3C 40")
    bench.play(KEYS, "90 3E 40")
    assert bench.heard("brass") == ["90 3C 40", "80 3C 40", "90 3E 40"]
    ((name, text),) = bench.told()
    assert name == "filter transpose"
    assert text.startswith("failed and is bypassed: ZeroDivisionError")
    assert status(bench.show)["filter_faults"] == {"transpose": 3}


def test_a_lost_input_is_reported_and_released(bench: Bench) -> None:
    """An unplugged input is reported; its notes are released, its pedal and bend return to rest (RP-015)."""
    bench.play(KEYS, "90 3C 40", "90 3C 40", "B0 40 7F", "E0 00 50")
    bench.heard("strings")
    bench.reader.lost.append((KEYS, '"keys" was unplugged'))
    bench.show.pump()
    assert bench.heard("strings") == ["80 3C 40", "B0 40 00", "E0 00 40"]
    assert bench.told() == [("keys", '"keys" was unplugged')]
    keys = status(bench.show)["inputs"][0]
    assert (keys["state"], keys["last_error"]) == ("missing", '"keys" was unplugged')
    assert (status(bench.show)["sounding"], status(bench.show)["off_rest"]) == (0, 0)


def test_an_input_that_lost_messages_releases_what_it_held_and_goes_on(bench: Bench) -> None:
    """A lost message may have been a release. The loss is reported, and counted in the status."""
    bench.reader.add(KEYS, MemoryInput("Keys"))
    bench.play(KEYS, "90 3C 40", "B0 40 7F")
    bench.heard("strings")
    bench.told()
    bench.reader.lost.append((KEYS, "some may be lost"))
    bench.show.pump()
    assert bench.heard("strings") == ["80 3C 40", "B0 40 00"]
    assert bench.told() == [("keys", "some may be lost"), ("keys", 'is open ("Keys")')]
    keys = status(bench.show)["inputs"][0]
    assert (keys["state"], keys["dropped"], keys["last_error"]) == ("open", 1, "some may be lost")
    bench.play(KEYS, "90 3C 40")
    assert bench.heard("strings") == ["90 3C 40"]


def test_what_came_before_the_cable_was_pulled_is_played_first(bench: Bench) -> None:
    """When messages and the loss of their input come in one batch, no note starts after the release."""
    bench.reader.put(KEYS, "90 3C 40")
    bench.reader.lost.append((KEYS, "gone"))
    bench.show.pump()
    assert bench.heard("strings") == ["90 3C 40", "80 3C 40"]


def test_a_lost_input_does_not_end_another_players_note() -> None:
    """A note that two inputs hold sounds until both have released it, a lost input included (MIDI 1.0 p. A-4)."""
    bench = Bench()
    bench.show.apply(RecallScene(3), "shell")
    bench.play(KEYS, "90 3C 40")
    bench.play(PEDALS, "90 3C 50")
    bench.reader.lost.append((KEYS, "gone"))
    bench.show.pump()
    assert bench.heard("brass") == ["90 48 40", "90 48 50"]
    bench.play(PEDALS, "80 3C 40")
    assert bench.heard("brass") == ["80 48 40", "80 48 40"]


def test_a_slow_wire_is_served_when_it_is_due() -> None:
    """What a DIN cable cannot take yet waits; `due` tells the reader until when, and the pump sends it then."""
    bench = Bench(RIG.replace('strings = { port = "Box 1" }', 'strings = { port = "Box 1", wire = "din" }'))
    bench.show.apply(RecallScene(1), "shell")
    bench.now += 1000 * MS
    bench.show.pump()
    bench.heard("strings")
    bench.play(KEYS, *(f"90 {note:02X} 40" for note in range(40, 60)))
    first = bench.heard("strings")
    assert 0 < len(first) < 20
    rest = []
    for _ in range(1000):
        due = bench.reader.due
        if due is None:
            break
        bench.now = due
        bench.show.pump()
        rest += bench.heard("strings")
    assert first + rest == [f"90 {note:02X} 40" for note in range(40, 60)]
    assert bench.now <= 1000 * MS + 20 * 3 * 320_000  # 60 bytes at 320 µs each (MIDI 1.0 p. 1)


def goes_round(bench: Bench, oldest_wait: int) -> list[dict[str, str]]:
    """What is muted after what goes out has come in again, 40 ms later, for two seconds."""
    bench.reader.oldest_wait = oldest_wait
    bench.play(KEYS, "90 3C 40")
    for _ in range(50):
        bench.now += 40 * MS
        bench.play(KEYS, *bench.heard("strings"))
    muted: list[dict[str, str]] = status(bench.show)["muted"]
    return muted


def test_what_waits_for_the_engine_may_take_longer_to_go_round(bench: Bench) -> None:
    """A loop whose rounds take 40 ms is muted if that is because messages wait, and the recorder notes for how long."""
    assert goes_round(bench, 4 * MS) == []
    assert goes_round(bench, 35 * MS) == [{"input": "keys", "output": "strings"}]
    told = [each for each in bench.show.recorder.last(bench.now, 10).events() if "messages wait" in each.text]
    assert len(told) > 10


def test_lights_are_looked_after_while_messages_wait() -> None:
    """The reader learns when a light is next due, also in a turn that tells the core of a wait."""
    tally = '[[tallies]]\nto = "brass"\nwhen = { scene = 1 }\non = "90 3C 7F"\noff = "80 3C 00"\n'
    lights = Bench(RIG.replace("format = 1", "format = 2") + tally)
    lights.show.apply(RecallScene(1), "shell")
    lights.passes(5000 * MS)
    lights.reader.oldest_wait = 35 * MS
    lights.show.pump()
    assert lights.show.engine.due is not None
    assert lights.reader.due == lights.show.engine.due


def test_latency_is_measured(bench: Bench) -> None:
    """The time from reading a message to handing it to the port is kept in milliseconds."""
    fresh = Bench()
    assert set(status(fresh.show)["latency"].values()) == {None}
    bench.now = 2 * MS
    bench.play(KEYS, "90 3C 40")
    assert set(status(bench.show)["latency"].values()) == {2.0}


def test_the_flow_of_a_driver_becomes_a_speed() -> None:
    """4,096 bytes ahead at 8,000 bytes per second are 125 µs per byte and 512 ms ahead (arithmetic)."""
    speed = speed_of(DriverFlow(ahead=4096, per_second=8000, overhead=8))
    assert speed is not None
    assert (speed.byte_ns, speed.ahead_ns, speed.overhead) == (125_000, 512 * MS, 8)
    assert speed_of(None) is None


PLAY = st.one_of(
    st.builds(
        lambda source, status, key, velocity: (source, bytes((status, key, velocity)).hex()),
        st.sampled_from([KEYS, PEDALS]),
        st.sampled_from([0x80, 0x90, 0x91]),
        st.integers(58, 62),
        st.sampled_from([0, 1, 64]),
    ),
    st.builds(lambda scene: (PEDALS, bytes((0xC0, scene)).hex()), st.integers(0, 3)),
    st.builds(
        lambda source, message: (source, message),
        st.sampled_from([KEYS, PEDALS]),
        st.sampled_from(["b0407f", "e00050"]),
    ),
)


@example([(0, "b0407f"), (1, "c001")])  # what a pedal may have left is at rest, too: nothing waits
@given(st.lists(PLAY, max_size=40))
def test_at_the_end_nothing_sounds(played: list[tuple[int, str]]) -> None:
    """Whatever was played through whatever scenes, finish releases every note and puts every controller to rest."""
    bench = Bench()
    bench.show.apply(RecallScene(1), "shell")
    for source, message in played:
        bench.now += 50 * MS
        bench.play(source, message)
    assert not bench.show.finish()
    for output in bench.outputs:
        sounding: Counter[tuple[int, int]] = Counter()
        moved: dict[int, int] = {}
        for sent in map(bytes.fromhex, bench.heard(output)):
            kind, key = sent[0] & 0xF0, (sent[0] & 0x0F, sent[1])
            if kind == 0x90 and sent[2]:
                sounding[key] += 1
            elif kind in (0x80, 0x90):
                del sounding[key]
            elif kind in (0xB0, 0xE0):
                moved[sent[0]] = sent[-1]
        assert not any(sounding.values())
        assert all(value == (0x40 if status & 0xF0 == 0xE0 else 0) for status, value in moved.items() if status != 0xB4)
    assert (bench.show.engine.state.ledger.sounding(), bench.show.engine.state.ledger.off_rest()) == (0, 0)


def test_finish_says_when_a_wire_still_has_something_to_carry() -> None:
    """On a slow cable, finish is called again until the last release has left."""
    bench = Bench(RIG.replace('strings = { port = "Box 1" }', 'strings = { port = "Box 1", wire = "din" }'))
    bench.show.apply(RecallScene(1), "shell")
    bench.now += 1000 * MS
    bench.play(KEYS, *(f"90 {note:02X} 40" for note in range(40, 60)))
    rounds = 0
    while bench.show.finish():
        bench.now += MS
        rounds += 1
        assert rounds < 1000
    sent = bench.heard("strings")
    assert {f"80 {note:02X} 40" for note in range(40, 60)} <= set(sent)
    assert rounds > 20


def test_after_the_outputs_are_closed_nothing_is_sent(bench: Bench) -> None:
    """close_outputs closes every port, and later messages are dropped silently."""
    bench.show.ports.close()
    bench.play(KEYS, "90 3C 40")
    assert bench.heard("strings") == []
    assert bench.show.own_faults == 0
