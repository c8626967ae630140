"""What must fit together in `[network]`: the machines it names, who dials whom, and the ports on them."""

from collections.abc import Iterable, Iterator

from engine.rig.models.network import host_of
from engine.rig.read.raw_data import Complaint, Data, Keys, names, table


def check_network(data: Data) -> Iterator[Complaint]:
    """Everything that is wrong between a rig's machines, and between them and its ports."""
    network = table(data, "network")
    yield from _ports(data, network)
    machines = table(network, "machines")
    if not machines:
        return
    if "standby" in network and network["standby"] == network.get("main"):
        text = f'"{network["standby"]}" is the main machine already; name another, or leave out standby'
        yield Complaint(("network", "standby"), text)
    yield from _alike(machines)
    yield from _addresses(machines)
    yield from _dialling(network, machines)


def _ports(data: Data, network: Data) -> Iterator[Complaint]:
    for section in ("inputs", "outputs"):
        for name, port in table(data, section).items():
            machine = port.get("machine") if isinstance(port, dict) else None
            place: Keys = (section, name, "machine")
            if not isinstance(machine, str):
                continue
            if "network" not in data:
                yield Complaint(place, "machine goes with a [network], and this rig has none; leave it out", once=True)
            elif machine == network.get("standby"):
                text = (
                    f'"{machine}" is the standby, which lends no ports; give its ports a machine of their own in '
                    "[network.machines], and run bayleaf lend there as well"
                )
                yield Complaint(place, text)


def _alike(machines: Data) -> Iterator[Complaint]:
    """Each machine's files lie in a folder of its name; some systems do not tell capitals from small letters."""
    taken = {"authority": "authority"}
    for name in machines:
        other = taken.setdefault(name.casefold(), name)
        if other == "authority":
            text = f'"{name}" is the name of the files that make machines known to each other; choose another'
            yield Complaint(("network", "machines", name), text)
        elif other != name:
            text = f'"{name}" and "{other}" differ in capitals alone, and so would their files; choose another name'
            yield Complaint(("network", "machines", name), text)


def _addresses(machines: Data) -> Iterator[Complaint]:
    taken: dict[str, str] = {}
    here: dict[bool, str] = {}  # whether on the loopback -> the first such machine
    for name, machine in machines.items():
        listen = machine.get("listen") if isinstance(machine, dict) else None
        if not isinstance(listen, str):
            continue
        place: Keys = ("network", "machines", name, "listen")
        other = taken.setdefault(listen, name)
        if other != name:
            yield Complaint(place, f'"{other}" listens at {listen} already; give each machine an address of its own')
        try:
            loopback = host_of(listen).is_loopback
        except ValueError:  # the models complain of it
            continue
        here.setdefault(loopback, name)
        if (not loopback) in here:
            text = (
                f'{listen} and the address of "{here[not loopback]}" cannot reach each other, for one of them is this '
                "computer's own (127.0.0.1); give both the addresses that they have on the network"
            )
            yield Complaint(place, text)


def _dialling(network: Data, machines: Data) -> Iterator[Complaint]:
    dialled = {name: [other for _, other in _dials(machines, name)] for name in machines}
    for name in machines:
        for place, other in _dials(machines, name):
            if other == name:
                yield Complaint(place, f'"{name}" dials itself; leave it out')
            elif name in dialled.get(other, ()) and [*machines].index(name) > [*machines].index(other):
                yield Complaint(place, f'"{other}" dials "{name}" already; only one of the two may dial')
    engines = [name for name in (network.get("main"), network.get("standby")) if isinstance(name, str)]
    for engine in dict.fromkeys(engines):
        for name in machines:
            if engine in machines and name != engine and engine not in dialled[name] and name not in dialled[engine]:
                text = (
                    f'"{name}" and "{engine}" have no link, for neither dials the other; add one to the other\'s dial'
                )
                yield Complaint(("network", "machines", name), text)


def _dials(machines: Data, name: str) -> Iterable[tuple[Keys, str]]:
    """Whom a machine dials, each with its place: all machines earlier in the table unless it says otherwise."""
    said = table(machines, name).get("dial")
    place: Keys = ("network", "machines", name)
    if said is None:
        return [(place, other) for other in [*machines][: [*machines].index(name)]]
    return names(said if isinstance(said, list) else None, (*place, "dial"))
