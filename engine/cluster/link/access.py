"""The access rules of the network: what each machine may send and receive, as its certificate names it.

Only incoming messages are restricted. zenoh silently drops a subscription that is wider than a rule allows, so every
subscription must lie within one of these keys.
"""

from typing import Any, Final

from engine.cluster.link.keys import NetworkKeys
from engine.rig.models.network import Network

_ALL: Final = [
    "put",
    "delete",
    "declare_subscriber",
    "query",
    "declare_queryable",
    "reply",
    "liveliness_token",
    "declare_liveliness_subscriber",
    "liveliness_query",
]


def access(rig: str, network: Network) -> dict[str, Any]:
    """The access rules that every machine of a rig applies. A machine that is not in the rig has no rights."""
    names = NetworkKeys(rig)
    root = f"{names.root}/**"
    rules = [_rule("out", _ALL, [root], flow="egress")]
    policies = [{"rules": ["out"], "subjects": [*network.machines]}]
    for machine in network.machines:
        made = _engine(names, machine) if machine in network.engines else _lender(names, machine)
        rules += made
        policies.append({"rules": [rule["id"] for rule in made], "subjects": [machine]})
    return {
        "enabled": True,
        "default_permission": "deny",
        "rules": rules,
        "subjects": [{"id": machine, "cert_common_names": [machine]} for machine in network.machines],
        "policies": policies,
    }


def _engine(names: NetworkKeys, machine: str) -> list[dict[str, Any]]:
    """An engine may receive and ask everything, and send to every output; each output's owner decides who plays it."""
    everything = f"{names.root}/**"
    return [
        *_owner(names, machine, [f"{names.state('*')}/{machine}"]),
        _rule(f"{machine} plays", ["put"], [names.outputs("*")]),
        _rule(f"{machine} hears", ["declare_subscriber", "query"], [everything]),
    ]


def _lender(names: NetworkKeys, machine: str) -> list[dict[str, Any]]:
    """A machine that lends its ports may receive orders for them and the state of the show, and ask for clocks."""
    states = names.state("**")
    return [
        *_owner(names, machine, []),
        _rule(f"{machine} hears", ["declare_subscriber"], [names.outputs(machine), states]),
        _rule(f"{machine} asks", ["query"], [names.command("*", "ping"), states]),
    ]


def _owner(names: NetworkKeys, machine: str, states: list[str]) -> list[dict[str, Any]]:
    """What every machine may send about itself; and it may see which machines are there."""
    states = [*states, f"{names.lease(machine)}/{machine}"]
    mine = [names.meter(machine), names.inputs(machine)]
    tokens = [names.alive(machine), names.plugs(machine)]
    asked = [names.claim(machine), names.all_held(machine), names.command(machine, "*")]
    seen = ["declare_liveliness_subscriber", "liveliness_query"]
    return [
        _rule(f"{machine} says", ["put"], [*mine, *states]),
        _rule(f"{machine} is there", ["liveliness_token"], [*tokens, *states]),
        _rule(f"{machine} sees", seen, [f"{names.root}/alive/**", names.state("**"), f"{names.lease('*')}/*"]),
        _rule(f"{machine} answers", ["declare_queryable", "reply"], [*asked, *states]),
    ]


def _rule(name: str, messages: list[str], keys: list[str], flow: str = "ingress") -> dict[str, Any]:
    return {"id": name, "permission": "allow", "flows": [flow], "messages": messages, "key_exprs": keys}
