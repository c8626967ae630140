"""What a link promises, kept by zenoh on the loopback and by the link in memory that other tests build on.

The promises are our own (`engine.cluster.link.link`); no outside source."""

import json
import socket
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from time import monotonic, sleep

import pytest

from engine.cluster.link import limited_traffic
from engine.cluster.link.join import open_link
from engine.cluster.link.keys import NetworkKeys
from engine.cluster.link.link import Link, LinkError
from engine.cluster.link.settings import LARGEST, LARGEST_EVENT, LARGEST_WORD, settings_of
from engine.rig.read.load import read
from tests.support.fake_link import FakeNet
from tests.support.waiting import until

Make = Callable[[str], Link]
MACHINES = ("desk", "spare", "stage-left")


def free_ports(count: int) -> list[int]:
    """Free TCP ports on the loopback."""
    with ExitStack() as stack:
        sockets = [stack.enter_context(socket.socket()) for _ in range(count)]
        for each in sockets:
            each.bind(("127.0.0.1", 0))
        return [each.getsockname()[1] for each in sockets]


def rig_text(ports: list[int]) -> str:
    """A rig of three machines on the loopback."""
    machines = "".join(
        f'{name} = {{ listen = "127.0.0.1:{port}" }}\n' for name, port in zip(MACHINES, ports, strict=True)
    )
    return (
        'format = 1\n[rig]\nname = "test"\n[network]\nmachine = "desk"\nmain = "desk"\nstandby = "spare"\n'
        f'[network.machines]\n{machines}[[scenes]]\nnumber = 1\nname = "One"\n'
    )


@pytest.fixture(params=["zenoh", "memory"])
def make(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Make]:
    """Makes links of machines that can reach each other."""
    made: list[Link] = []
    net = FakeNet()
    rig = read(rig_text(free_ports(3)), "rig.toml")

    def link(machine: str) -> Link:
        if request.param == "memory":
            made.append(net.link(machine))
        else:
            made.append(open_link(settings_of(rig.on(machine), tmp_path / "rig.toml")))
        return made[-1]

    yield link
    for each in made:
        each.close()


def _sees(link: Link, others: int) -> bool:
    return len(link.present("r1/test/alive/*")) == others


def together(make: Make, *names: str) -> list[Link]:
    """Links that have seen each other."""
    links = [make(name) for name in names]
    for link, name in zip(links, names, strict=True):
        link.alive(f"r1/test/alive/{name}")
    for link in links:
        until("what was said to be heard", partial(_sees, link, len(names) - 1))
    return links


def until_heard(said: Callable[[], None], heard: Sequence[object]) -> None:
    """Send it again until it arrives: a subscription takes a moment to reach the other machines."""

    def is_heard() -> bool:
        said()
        return bool(heard)

    until("what is said again and again", is_heard)


def test_what_is_published_is_heard_in_order_and_once(make: Make) -> None:
    """A thousand messages of one key arrive at every other machine, each once, in the order they were published."""
    desk, spare, stage = together(make, *MACHINES)
    heard: dict[str, list[bytes]] = {"spare": [], "stage": []}
    spare.subscribe("r1/test/in/desk/*", lambda _, payload: heard["spare"].append(payload))
    stage.subscribe("r1/test/in/desk/*", lambda _, payload: heard["stage"].append(payload))
    for who in heard.values():
        until_heard(lambda: desk.publish("r1/test/in/desk/keys", b"here"), who)
    for number in range(1000):
        desk.publish("r1/test/in/desk/keys", b"%d" % number)
    wanted = [b"%d" % number for number in range(1000)]
    until("the last message everywhere", lambda: all(who[-1] == wanted[-1] for who in heard.values()))
    for who in heard.values():
        assert [each for each in who if each != b"here"] == wanted
    assert (desk.lost, spare.faults, stage.faults) == (0, 0, 0)


def test_nobody_hears_himself(make: Make) -> None:
    """A link receives nothing of its own: no message, no token, no state, no question."""
    desk, spare = together(make, "desk", "spare")
    own: list[object] = []
    others: list[object] = []
    desk.subscribe("r1/test/in/*/*", lambda key, _: own.append(key))
    spare.subscribe("r1/test/in/*/*", lambda key, _: others.append(key))
    until_heard(lambda: desk.publish("r1/test/in/desk/keys", b""), others)
    desk.subscribe_state("r1/test/state/show", lambda key, _: own.append(key))
    desk.keep("r1/test/state/show", b"mine")
    desk.watch("r1/test/alive/desk", lambda key, _: own.append(key))
    desk.answer("r1/test/cmd/desk/ping", lambda payload: payload)
    assert desk.ask("r1/test/cmd/desk/ping", b"") == []
    assert own == []


def test_a_late_joiner_gets_the_last_state(make: Make) -> None:
    """A late subscriber gets the last retained value, then each newer one, and no older one."""
    desk, spare = together(make, "desk", "spare")
    for number in range(5):
        desk.keep("r1/test/state/show", b"%d" % number)
    heard: list[bytes] = []
    spare.subscribe_state("r1/test/state/show", lambda _, payload: heard.append(payload))
    until("what was said to be heard", lambda: b"4" in heard)
    desk.keep("r1/test/state/show", b"5")
    until("what was said to be heard", lambda: b"5" in heard)
    assert heard == sorted(set(heard))


def test_tokens_come_and_go(make: Make) -> None:
    """A token is seen by early and late watchers; it goes when it is taken down, and with its link."""
    desk, spare, stage = together(make, *MACHINES)
    seen: list[tuple[str, bool]] = []
    stage.watch("r1/test/alive/*/in/*", lambda key, there: seen.append((key, there)))
    desk.alive("r1/test/alive/desk/in/keys")
    until("what was said to be heard", lambda: seen == [("r1/test/alive/desk/in/keys", True)])
    late: list[tuple[str, bool]] = []
    spare.watch("r1/test/alive/*/in/*", lambda key, there: late.append((key, there)))
    until("what was said to be heard", lambda: late == [("r1/test/alive/desk/in/keys", True)])
    desk.gone("r1/test/alive/desk/in/keys")
    until("what was said to be heard", lambda: seen[1:] == [("r1/test/alive/desk/in/keys", False)])
    spare.alive("r1/test/alive/spare/in/keys")
    until("what was said to be heard", lambda: seen[2:] == [("r1/test/alive/spare/in/keys", True)])
    spare.close()
    until("what was said to be heard", lambda: seen[3:] == [("r1/test/alive/spare/in/keys", False)])
    assert stage.present("r1/test/alive/*") == ["r1/test/alive/desk"]


def test_questions_are_answered(make: Make) -> None:
    """A question gets an answer from each machine that answers its key, and none where no machine does."""
    desk, spare, stage = together(make, *MACHINES)
    stage.answer("r1/test/claim/stage-left", lambda payload: payload + b", granted")
    answers: list[bytes] = []

    def ask() -> None:
        answers.extend(desk.ask("r1/test/claim/stage-left", b"desk"))

    until_heard(ask, answers)
    assert answers == [b"desk, granted"]
    assert spare.ask("r1/test/claim/nobody", b"spare") == []


def test_a_closed_link_says_and_raises_nothing(make: Make) -> None:
    """After close, messages are counted as lost, questions get no answer, and a second close does nothing."""
    desk = make("desk")
    desk.close()
    desk.close()
    desk.publish("r1/test/in/desk/keys", b"")
    desk.alive("r1/test/alive/desk")
    desk.gone("r1/test/alive/desk")
    assert desk.ask("r1/test/cmd/spare/ping", b"") == []
    assert desk.lost == 1


def test_what_a_callback_raises_is_counted(tmp_path: Path) -> None:
    """A callback that raises stops nothing: the next message is delivered, and the fault is counted."""
    rig = read(rig_text(free_ports(3)), "rig.toml")
    desk, spare = (open_link(settings_of(rig.on(name), tmp_path / "rig.toml")) for name in ("desk", "spare"))
    heard: list[object] = []

    def stumble(_: str, payload: bytes) -> None:
        heard.append(payload)
        raise ValueError

    spare.subscribe("r1/test/in/desk/*", stumble)
    until_heard(lambda: desk.publish("r1/test/in/desk/keys", b"1"), heard)
    desk.publish("r1/test/in/desk/keys", b"2")
    until("what was said to be heard", lambda: heard[-1] == b"2")
    until("what was said to be heard", lambda: spare.faults == len(heard))
    desk.close()
    spare.close()


@pytest.fixture
def pair(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Link, Link]]:
    """A lending machine that errs, and an engine that leaves it out for half a second when it sends too much."""
    monkeypatch.setattr(limited_traffic, "PAUSE", 0.5)
    rig = read(rig_text(free_ports(3)), "rig.toml")
    left, desk = (open_link(settings_of(rig.on(name), tmp_path / "rig.toml")) for name in ("stage-left", "desk"))
    yield left, desk
    left.close()
    desk.close()


def test_a_machine_that_sends_too_much_is_left_out_for_a_while(pair: tuple[Link, Link]) -> None:
    """It costs no more than was agreed, is reported, and is heard again later."""
    left, desk = pair
    heard: list[bytes] = []
    floods: list[int] = []
    desk.subscribe("r1/test/in/stage-left/*", lambda _, payload: heard.append(payload), lambda: floods.append(1))
    until_heard(lambda: left.publish("r1/test/in/stage-left/keys", b"here"), heard)
    for _ in range(100_000):
        left.publish("r1/test/in/stage-left/keys", bytes(1000), bulk=True)
    until("the flood", lambda: bool(floods))
    assert len(heard) < 10_000
    heard.clear()
    until_heard(lambda: left.publish("r1/test/in/stage-left/keys", b"again"), heard)
    assert desk.faults == 0


def test_a_flood_of_reports_costs_no_other_machine_its_own(pair: tuple[Link, Link]) -> None:
    """Each machine's reports have an allowance of their own: only the machine that floods is left out."""
    left, desk = pair
    keys = NetworkKeys("test")
    floods: list[str] = []
    for machine in ("spare", "stage-left"):
        desk.subscribe(keys.meter(machine), lambda _, payload: None, partial(floods.append, machine))
    said: list[bytes] = []
    desk.subscribe("r1/test/in/stage-left/*", lambda _, payload: said.append(payload))
    until_heard(lambda: left.publish("r1/test/in/stage-left/keys", b"here"), said)
    for _ in range(200):
        left.publish(keys.meter("stage-left"), bytes(60_000), bulk=True)
    until("the flood", lambda: "stage-left" in floods)
    said.clear()
    until_heard(lambda: left.publish("r1/test/in/stage-left/keys", b"later"), said)
    assert floods == ["stage-left"]
    assert desk.faults == 0


def test_tokens_that_flicker_without_end_count_as_gone(pair: tuple[Link, Link]) -> None:
    """All tokens of that machine are gone for a while, and then those that are there are there."""
    left, desk = pair
    there: set[str] = set()
    changes: list[str] = []

    def changed(key: str, shown: bool) -> None:
        changes.append(key)
        (there.add if shown else there.discard)(key)

    desk.watch("r1/test/alive/stage-left/in/*", changed)
    left.alive("r1/test/alive/stage-left/in/keys")
    until("the token", lambda: len(there) == 1)

    for _ in range(1000):
        left.alive("r1/test/alive/stage-left/in/pads")
        left.gone("r1/test/alive/stage-left/in/pads")
    until("the tokens to be gone", lambda: not there)
    assert len(changes) < 1500, "some are left out"
    until("the token that stays", lambda: there == {"r1/test/alive/stage-left/in/keys"})
    assert desk.faults == 0


def test_a_state_whose_token_flickers_is_asked_for_once(pair: tuple[Link, Link]) -> None:
    """However often a machine says that it keeps a state, one question for it waits, and those for others go on."""
    left, desk = pair
    questions: list[bytes] = []
    heard: list[bytes] = []

    def answered(question: bytes) -> bytes | None:
        questions.append(question)
        sleep(0.02)
        return None

    left.answer("r1/test/lease/stage-left/stage-left", answered)
    left.keep("r1/test/state/show", b"Overture")
    desk.subscribe_state("r1/test/lease/stage-left", lambda _, payload: None)
    left.alive("r1/test/lease/stage-left/stage-left")
    until("the first question", lambda: questions)
    for _ in range(300):
        left.gone("r1/test/lease/stage-left/stage-left")
        left.alive("r1/test/lease/stage-left/stage-left")
    desk.subscribe_state("r1/test/state/show", lambda _, payload: heard.append(payload))
    until("what is kept there", lambda: heard == [b"Overture"])
    assert len(questions) < 100
    assert desk.faults == 0


def test_a_message_that_is_too_large_does_not_arrive(pair: tuple[Link, Link]) -> None:
    """A report of more than 64 kB, events of more than a long SysEx, and anything of more than 5 MB; the rest does."""
    left, desk = pair
    heard: list[str] = []

    def arrives(key: str, size: int) -> None:
        """Send it until it does: a computer that is busy may close a full link, and what was on its way is lost."""

        def sent() -> bool:
            left.publish(f"r1/test/{key}", bytes(size), bulk=True)
            end = monotonic() + 2
            while monotonic() < end and f"r1/test/{key} {size}" not in heard:
                sleep(0.01)
            return f"r1/test/{key} {size}" in heard

        until(f"{size} bytes", sent)

    for key in ("meter/stage-left", "in/stage-left/keys", "state/rig"):
        desk.subscribe(f"r1/test/{key}", lambda key, payload: heard.append(f"{key} {len(payload)}"))
    until_heard(lambda: left.publish("r1/test/state/rig", b"", bulk=True), heard)
    for key, largest in (("meter/stage-left", LARGEST_WORD), ("in/stage-left/keys", LARGEST_EVENT)):
        left.publish(f"r1/test/{key}", bytes(largest + 1), bulk=True)
        arrives(key, largest)
        assert f"r1/test/{key} {largest + 1}" not in heard
    arrives("state/rig", 4_200_000)
    left.publish("r1/test/state/rig", bytes(LARGEST + 1), bulk=True)

    def after() -> bool:
        left.publish("r1/test/state/rig", b"after", bulk=True)
        return heard[-1].endswith(" 5")

    until("what comes after", after)
    assert f"r1/test/state/rig {LARGEST + 1}" not in heard


def test_an_address_in_use_is_reported(tmp_path: Path) -> None:
    """A machine whose address is in use cannot join, and one sentence says so."""
    rig = read(rig_text(free_ports(3)), "rig.toml")
    settings = settings_of(rig, tmp_path / "rig.toml")
    first = open_link(settings)
    host, port = settings.listen.split(":")

    def listens() -> bool:
        with socket.socket() as probe:
            return probe.connect_ex((host, int(port))) == 0

    until("the first to listen", listens)  # on a busy computer it does so a moment later
    with pytest.raises(
        LinkError, match=r"another program listens at 127\.0\.0\.1:\d+ already; is desk running here\?$"
    ):
        open_link(settings)
    first.close()


def test_the_configuration_is_as_measured(tmp_path: Path) -> None:
    """On the loopback links are plain TCP, one side dials, scouting is off and the lease is 300 ms."""
    rig = read(rig_text([7001, 7002, 7003]), "rig.toml")
    config = json.loads(settings_of(rig.on("spare"), tmp_path / "rig.toml").config)
    assert config["listen"]["endpoints"] == ["tcp/127.0.0.1:7002"]
    assert config["connect"]["endpoints"] == ["tcp/127.0.0.1:7001"]
    assert [config["scouting"][way]["enabled"] for way in ("multicast", "gossip")] == [False, False]
    assert config["transport"]["link"]["tx"]["lease"] == 300
    assert "access_control" not in config
