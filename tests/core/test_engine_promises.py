"""What the core promises for any stream and any scene changes (hypothesis)."""

from collections.abc import Callable
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from engine.core.cable.output_cable import Delivery
from engine.core.cable.program_burst import size
from engine.core.cable.speed import DIN
from engine.core.engine import Engine
from engine.midi.rest_values import rest_of
from tests.support.engine_calls import command, recall
from tests.support.pit_engine import MS, SCENES, ears, engine, run_dry
from tests.support.seeded import seeded_list

Event = tuple[int, int | None, bytes | int]

CHANNELS = 2
MOVED = (1, 7, 10, 11, 64, 66, 6, 38, 98, 99, 100, 101, 96, 121)
SYSTEM = (
    *(bytes([b]) for b in (0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF, 0xF6)),
    *(bytes.fromhex(m) for m in ("F0 7D 01 02 F7", "F0 7D" + " 00" * 60 + " F7", "F1 24", "F2 10 20", "F3 05")),
)


def press(dice: Random) -> bytes:
    return bytes((0x90 | dice.randrange(CHANNELS), dice.randint(30, 75), dice.randrange(1, 128)))


def release(dice: Random) -> bytes:
    status, value = dice.choice(((0x80, dice.randrange(128)), (0x90, 0)))
    return bytes((status | dice.randrange(CHANNELS), dice.randint(30, 75), value))


def move(dice: Random) -> bytes:
    value = dice.randrange(128)
    status, *data = dice.choice(
        (
            (0xB0, dice.choice(MOVED), value),
            (0xE0, dice.randrange(128), value),
            (0xD0, value),
            (0xA0, dice.randint(30, 75), value),
        )
    )
    return bytes((status | dice.randrange(CHANNELS), *data))


def program(dice: Random) -> bytes:
    return bytes((0xC0 | dice.randrange(CHANNELS), dice.randrange(128)))


def system(dice: Random) -> bytes:
    return dice.choice(SYSTEM)


def routed(dice: Random) -> bytes:
    """Any message."""
    return dice.choice((press, release, move, program, system))(dice)


def event(dice: Random) -> Event:
    """Milliseconds since the last event, input or None for a recall, message or scene."""
    wait = dice.randint(0, 4)
    return (wait, dice.randrange(2), routed(dice)) if dice.random() < 0.7 else (wait, None, dice.randint(1, 3))


events = seeded_list(event, most=60)
cables = st.sampled_from(["fast", "din"])


def perform(router: Engine, stream: list[Event]) -> tuple[int, list[Delivery], list[list[bytes]]]:
    """Play the stream; returns the time at its end, all deliveries, and what each input played."""
    now, out = 0, list(recall(router, 0, 1))
    played: list[list[bytes]] = [[], [], []]
    for wait, source, what in stream:
        end = now + wait * MS
        while router.due is not None and router.due <= end:
            now = max(now, router.due)
            out += router.tick(now)
        now = end
        if source is None:
            assert isinstance(what, int)
            out += recall(router, now, what)
        else:
            assert isinstance(what, bytes)
            played[source].append(what)
            out += router.receive(now, source, what)
    return now, out, played


def let_go_of_everything(router: Engine, now: int, played: list[list[bytes]]) -> list[Delivery]:
    """As many releases as presses, of every key of every input."""
    out: list[Delivery] = []
    for source, messages in enumerate(played):
        for message in messages:
            if message[0] & 0xF0 == 0x90 and message[2]:
                out += router.receive(now, source, bytes((0x80 | message[0] & 0x0F, message[1], 0)))
    return out


def hands_off(router: Engine, now: int, played: list[list[bytes]]) -> list[Delivery]:
    """Everything that was moved comes back to rest, as far as it has one; the pedals are lifted."""
    out: list[Delivery] = []
    for source, messages in enumerate(played):
        for rest in dict.fromkeys(filter(None, map(rest_of, messages))):
            out += router.receive(now, source, rest)
    return out


@given(events, cables)
@settings(max_examples=50)
def test_nothing_hangs(stream: list[Event], cable: str) -> None:
    """After any stream and any scene changes, once every key is up no note sounds at any output."""
    router = engine(cable=cable)
    now, out, played = perform(router, stream)
    out += let_go_of_everything(router, now, played)
    out += run_dry(router, now)[1]
    assert [one.held for one in ears(out)] == [0, 0]
    assert router.state.ledger.sounding() == 0


@given(events, cables)
@settings(max_examples=40)
def test_every_press_gets_its_release(stream: list[Event], cable: str) -> None:
    """For every note-on an output gets, it gets that note's own note-off (MIDI 1.0 p. A-4)."""
    router = engine(cable=cable)
    now, out, played = perform(router, stream)
    out += let_go_of_everything(router, now, played)
    out += run_dry(router, now)[1]
    balance: dict[tuple[int, int, int], int] = {}
    for output, message, _ in out:
        if message[0] & 0xE0 == 0x80:
            key = (output, message[0] & 0x0F, message[1])
            on = message[0] & 0xF0 == 0x90 and message[2] > 0
            balance[key] = balance.get(key, 0) + (1 if on else -1)
    assert max(balance.values(), default=0) <= 0


@given(seeded_list(routed, most=60))
@settings(max_examples=40)
def test_identity_routes_lose_and_reorder_nothing(messages: list[bytes]) -> None:
    """An identity route to an unpaced output passes everything on, in order."""
    router = engine(SCENES.replace("burst =", "# burst ="))
    recall(router, 0, 1)
    out = [d for now, message in enumerate(messages) for d in router.receive(now, 0, message)]
    for output in (0, 1):
        assert [message for to, message, _ in out if to == output] == messages


def _fader(message: bytes) -> bytes | None:
    """What moves continuously and may be thinned on a full cable: wheels, faders, bends, pressures."""
    kind = message[0] & 0xF0
    if kind == 0xA0 or (kind == 0xB0 and message[1] in (1, 7, 10, 11)):
        return message[:2]
    return message[:1] if kind in (0xD0, 0xE0) else None


#: what must arrive whole and in order on a full cable, class by class
CLASSES: dict[str, Callable[[bytes], bool]] = {
    "real time, position and song": lambda m: m[0] >= 0xF8 or m[0] in (0xF2, 0xF3),
    "notes, pedals, programs, parameters": lambda m: m[0] < 0xF0 and _fader(m) is None,
    "quarter frames and tuning": lambda m: m[0] in (0xF1, 0xF6),
    "short SysEx": lambda m: m[0] == 0xF0 and len(m) < 20,
    "long SysEx": lambda m: m[0] == 0xF0 and len(m) > 60,
}


@given(seeded_list(routed, most=80), st.integers(0, 3))
@settings(max_examples=40)
def test_a_din_wire_keeps_the_order_of_each_class(messages: list[bytes], wait: int) -> None:
    """On a DIN cable notes, pedals and the like all arrive in order, real time in its own order, and the last value of
    each continuous controller arrives."""
    router = engine(SCENES.replace("burst =", "# burst ="), cable="din")
    recall(router, 0, 1)
    now, out = 0, []
    for message in messages:
        now += wait * MS // 4
        out += router.tick(now) + router.receive(now, 0, message)
    out += run_dry(router, now)[1]
    heard = [message for to, message, _ in out if to == 0]
    for name, belongs in CLASSES.items():
        assert [m for m in heard if belongs(m)] == [m for m in messages if belongs(m)], name
    for what in {_fader(m) for m in messages} - {None}:
        assert [m for m in heard if _fader(m) == what][-1] == [m for m in messages if _fader(m) == what][-1]


@given(events)
@settings(max_examples=40)
def test_a_din_wire_never_carries_more_than_it_can(stream: list[Event]) -> None:
    """In any window of t seconds at most 3,125 t bytes, plus the 3 ms allowance and one message, are handed over, and
    never further ahead than that (values of the area din-timing: 320 µs per byte). A SysEx occupies the cable until it
    is through; real-time bytes may be handed over meanwhile."""
    router = engine(cable="din")
    handed: list[tuple[int, bytes]] = []
    now = 0

    def note(at: int, out: list[Delivery]) -> None:
        handed.extend((at, message) for to, message, _ in out if to == 0)

    note(0, recall(router, 0, 1))
    for wait, source, what in stream:
        end = now + wait * MS
        while router.due is not None and router.due <= end:
            now = max(now, router.due)
            note(now, router.tick(now))
        now = end
        note(now, recall(router, now, what) if isinstance(what, int) else router.receive(now, source or 0, what))
    free_at = sysex_end = inside_free_at = 0
    for at, message in handed:
        cost = len(message) * DIN.byte_ns
        if message[0] >= 0xF8 and sysex_end > at:  # a SysEx is on the cable: clocks go in between its bytes
            inside_free_at = max(inside_free_at, at) + cost
            free_at, sysex_end = free_at + cost, sysex_end + cost
            assert inside_free_at - at <= 3 * MS + cost
            continue
        free_at = max(free_at, at) + cost
        assert free_at - at <= 3 * MS + cost
        if message[0] == 0xF0:
            sysex_end = free_at


def _real_time(message: bytes) -> bool:
    return message[0] >= 0xF8


@given(events, cables)
@settings(max_examples=50)
def test_nothing_is_inside_a_triple(stream: list[Event], cable: str) -> None:
    """Between bank MSB, bank LSB and program of a burst there are only real-time bytes, and only whole triples of one
    scene arrive: never the bank of one with the program of another."""
    router = engine(cable=cable)
    now, out, _ = perform(router, [e for e in stream if not (isinstance(e[2], bytes) and e[2][0] & 0xF0 == 0xC0)])
    out += run_dry(router, now)[1]
    heard = [message for to, message, _ in out if to == 0 and not _real_time(message)]
    for place, message in enumerate(heard):
        if message[0] & 0xF0 == 0xB0 and message[1] == 0:
            lsb, program = heard[place + 1 : place + 3]
            assert lsb[:2] == bytes((message[0], 32))
            assert program[0] == 0xC0 | message[0] & 0x0F
    pairs = {(0, 1, 11, 20), (1, 1, 11, 30), (0, 2, 12, 21), (1, 2, 12, 31)}
    assert set(ears(out)[0].selected) <= pairs


@given(events)
@settings(max_examples=40)
def test_an_instrument_settles_in_silence(stream: list[Event]) -> None:
    """After a program change nothing is sent on its channel until the settle time is over; other channels go on."""
    router = engine()
    now, out = 0, [(0, d) for d in recall(router, 0, 1)]
    for wait, source, what in stream:
        if isinstance(what, bytes) and what[0] & 0xF0 == 0xC0:
            continue  # a routed program change has no settle time
        end = now + wait * MS
        while router.due is not None and router.due <= end:
            now = max(now, router.due)
            out += [(now, d) for d in router.tick(now)]
        now = end
        got = recall(router, now, what) if isinstance(what, int) else router.receive(now, source or 0, what)
        out += [(now, d) for d in got]
    until = {0: 0, 1: 0}
    for at, (to, message, _) in out:
        channel = message[0] & 0x0F
        if to == 0 and message[0] < 0xF0 and channel in until:
            assert at >= until[channel]
            if message[0] & 0xF0 == 0xC0:
                until[channel] = at + (30 if channel == 0 else 5) * MS


@given(events, st.integers(1, 2))
@settings(max_examples=40)
def test_a_burst_is_done_in_its_time(stream: list[Event], scene: int) -> None:
    """Whatever is played, a burst that is sent whole is complete within its computed time plus 5 ms."""
    router = engine(cable="din")
    now = perform(router, stream)[0]
    recall(router, now, scene)
    now, _ = run_dry(router, now)  # earlier bursts are over
    now = max(now, router.state.cables[0].carried_at)  # and so is what was handed to the driver
    for key in range(20):  # and the cable is full
        router.receive(now, 0, bytes((0x90 | key % 2, 40 + key, 99)))
    begin, out = now, [(now, d) for d in command(router, now, "resend")[1]]
    steps = router.state.compiled.scenes[scene].bursts[0]
    bound = begin + size(steps) * DIN.byte_ns + 5 * MS
    for tick in range(60):
        now = begin + tick * MS
        out += [(now, d) for d in router.tick(now)]
        for key in range(4):
            out += [(now, d) for d in router.receive(now, 0, bytes((0x90 | key % 2, 40 + tick % 20 + key, 99)))]
    wanted = [step.unit[-1] for step in steps]
    ends = [d[2] + 2 * DIN.byte_ns for _, d in out if d[0] == 0 and d[1] in wanted]
    assert len(ends) == len(wanted)
    assert max(ends) <= bound


@given(seeded_list(lambda dice: (press(dice), dice.random() < 0.5), most=30))
@settings(max_examples=40)
def test_before_a_recall_the_old_scene_after_it_the_new(stream: list[tuple[bytes, bool]]) -> None:
    """A message before a recall follows the old scene and one after it the new, even if the recall is a program change
    in the same stream."""
    router = engine(SCENES.replace("burst =", "# burst ="))
    recall(router, 0, 1)
    moved = False
    for tick, (message, switch) in enumerate(stream, 1):
        now = tick * 40 * MS  # past the guard time of the switch
        if switch:
            router.receive(now, 2, bytes((0xC0, 0 if moved else 1)))
            moved = not moved
        out = [m for to, m, _ in router.receive(now, 0, message) if to == 0]
        assert out == [bytes((message[0], message[1] + (7 if moved else 0), message[2]))]


@given(events, st.integers(1, 3), cables)
@settings(max_examples=50)
def test_what_a_scene_no_longer_feeds_is_at_rest(stream: list[Event], scene: int, cable: str) -> None:
    """After a recall the pedals, bends, wheels and pressures that no route can move any longer are at rest (RP-015)
    once keys and pedals are up. With all hands at rest a further recall moves none of them: it sends the sounds of its
    scene, and of faders without a rest where they are."""
    router = engine(cable=cable)
    now, out, played = perform(router, stream)
    out += recall(router, now, 3)
    out += let_go_of_everything(router, now, played) + hands_off(router, now, played)
    now, rest = run_dry(router, now)
    out += rest
    assert [one.off_rest for one in ears(out)] == [set(), set()]
    assert router.state.ledger.off_rest() == 0
    burst = [message for _, message, _ in recall(router, now, scene) + run_dry(router, now)[1]]
    steps = router.state.compiled.scenes[scene].bursts.get(0, ())
    assert all(rest_of(message) is None for message in burst)
    sounds = [message for message in burst if message[0] & 0xF0 == 0xC0 or message[1] in (0, 32)]
    assert sounds == [message for step in steps for message in step.unit if step.unit[-1] in sounds]


@given(events, cables)
@settings(max_examples=40)
def test_a_panic_silences_and_what_follows_sounds(stream: list[Event], cable: str) -> None:
    """After a panic nothing sounds and all is at rest; a note played then sounds."""
    router = engine(cable=cable)
    now, out, _ = perform(router, stream)
    out += recall(router, now, 1)
    now, rest = run_dry(router, now)
    out += rest + command(router, now, "panic", None, "test")[1]
    now, rest = run_dry(router, now)
    out += rest
    assert [one.held for one in ears(out)] == [0, 0]
    assert all(not [one for one in ear.off_rest if one[1] in ("bend",) or one[2] in (64, 66, 67)] for ear in ears(out))
    out += router.receive(now, 0, bytes.fromhex("90 3C 40")) + run_dry(router, now)[1]
    assert [one.held for one in ears(out)] == [1, 1]


@given(events)
@settings(max_examples=40)
def test_what_is_the_same_is_said_once(stream: list[Event]) -> None:
    """If two routes make the same message of one, it is sent once."""
    double = SCENES.replace("routes = [ { from", 'routes = [ { from = "keys", to = "strings" }, { from', 1)
    router, single = engine(double), engine()
    assert perform(router, stream)[1] == perform(single, stream)[1]
