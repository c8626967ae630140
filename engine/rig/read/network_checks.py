"""Checks of `[network]`: the machines, which of them dials which, and the ports plugged into them."""

from collections.abc import Iterable, Iterator

from engine.rig.models.network import host_of
from engine.rig.read.raw_data import Complaint, Data, Keys, names, table


def check_network(data: Data) -> Iterator[Complaint]:
    """All mistakes between the machines of a rig, and between machines and ports."""
    network = table(data, "network")
    yield from _ports(data, network)
    if network and "include" in data:
        text = "a rig with [network] is read on every machine, and includes no file; write its tables in the rig"
        yield Complaint(("include",), text)
    machines = table(network, "machines")
    if not machines:
        return
    if "standby" in network and network["standby"] == network.get("main"):
        text = f'"{network["standby"]}" is already the main machine; name another one, or leave out standby'
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
                yield Complaint(place, "machine needs a [network], and this rig has none; leave it out", once=True)
            elif machine == network.get("standby"):
                text = (
                    f'"{machine}" is the standby, which lends no ports; give its ports a machine of their own in '
                    "[network.machines], and run bayleaf lend on it as well"
                )
                yield Complaint(place, text)


def _alike(machines: Data) -> Iterator[Complaint]:
    """Each machine's files are in a folder with its name, and some systems ignore upper and lower case."""
    taken = {"authority": "authority"}
    for name in machines:
        other = taken.setdefault(name.casefold(), name)
        if other == "authority":
            text = f'"{name}" is reserved for the certificate files; choose another name'
            yield Complaint(("network", "machines", name), text)
        elif other != name:
            text = f'"{name}" and "{other}" differ only in upper and lower case, and so would their files; rename one'
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
            yield Complaint(place, f'"{other}" already listens on {listen}; give each machine its own address')
        try:
            loopback = host_of(listen).is_loopback
        except ValueError:  # the models complain about it
            continue
        here.setdefault(loopback, name)
        if (not loopback) in here:
            text = (
                f'{listen} and the address of "{here[not loopback]}" cannot reach each other, because one of '
                "them is a loopback address (127.0.0.1); give both machines their addresses on the network"
            )
            yield Complaint(place, text)


def _dialling(network: Data, machines: Data) -> Iterator[Complaint]:
    dialled = {name: [other for _, other in _dials(machines, name)] for name in machines}
    for name in machines:
        for place, other in _dials(machines, name):
            if other == name:
                yield Complaint(place, f'"{name}" dials itself; leave it out')
            elif name in dialled.get(other, ()) and [*machines].index(name) > [*machines].index(other):
                yield Complaint(place, f'"{other}" already dials "{name}"; only one of the two may dial')
    engines = [name for name in (network.get("main"), network.get("standby")) if isinstance(name, str)]
    for engine in dict.fromkeys(engines):
        for name in machines:
            if engine in machines and name != engine and engine not in dialled[name] and name not in dialled[engine]:
                text = f'"{name}" and "{engine}" have no link: neither dials the other; add one to the other\'s dial'
                yield Complaint(("network", "machines", name), text)


def _dials(machines: Data, name: str) -> Iterable[tuple[Keys, str]]:
    """The machines that a machine dials, each with its place; by default all earlier ones in the table."""
    said = table(machines, name).get("dial")
    place: Keys = ("network", "machines", name)
    if said is None:
        return [(place, other) for other in [*machines][: [*machines].index(name)]]
    return names(said if isinstance(said, list) else None, (*place, "dial"))
