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
    keys = NetworkKeys(rig)
    root = f"{keys.root}/**"
    rules = [_rule("out", _ALL, [root], flow="egress")]
    policies = [{"rules": ["out"], "subjects": [*network.machines]}]
    for machine in network.machines:
        made = _engine(keys, machine) if machine in network.engines else _lender(keys, machine)
        rules += made
        policies.append({"rules": [rule["id"] for rule in made], "subjects": [machine]})
    return {
        "enabled": True,
        "default_permission": "deny",
        "rules": rules,
        "subjects": [{"id": machine, "cert_common_names": [machine]} for machine in network.machines],
        "policies": policies,
    }


def _engine(keys: NetworkKeys, machine: str) -> list[dict[str, Any]]:
    """An engine may receive and ask everything, and send to every output; each output's owner decides who plays it."""
    everything = f"{keys.root}/**"
    return [
        *_owner(keys, machine, [f"{keys.state('*')}/{machine}"]),
        _rule(f"{machine} plays", ["put"], [keys.outputs("*")]),
        _rule(f"{machine} hears", ["declare_subscriber", "query"], [everything]),
    ]


def _lender(keys: NetworkKeys, machine: str) -> list[dict[str, Any]]:
    """A machine that lends its ports may receive orders for them and the state of the show, and ask for clocks."""
    states = keys.state("**")
    return [
        *_owner(keys, machine, []),
        _rule(f"{machine} hears", ["declare_subscriber"], [keys.outputs(machine), states]),
        _rule(f"{machine} asks", ["query"], [keys.command("*", "ping"), states]),
    ]


def _owner(keys: NetworkKeys, machine: str, states: list[str]) -> list[dict[str, Any]]:
    """What every machine may send about itself; and it may see which machines are there."""
    states = [*states, f"{keys.lease(machine)}/{machine}"]
    mine = [keys.meter(machine), keys.inputs(machine)]
    tokens = [keys.alive(machine), keys.plugs(machine)]
    asked = [keys.claim(machine), keys.command(machine, "*")]
    seen = ["declare_liveliness_subscriber", "liveliness_query"]
    return [
        _rule(f"{machine} says", ["put"], [*mine, *states]),
        _rule(f"{machine} is there", ["liveliness_token"], [*tokens, *states]),
        _rule(f"{machine} sees", seen, [f"{keys.root}/alive/**", keys.state("**"), f"{keys.lease('*')}/*"]),
        _rule(f"{machine} answers", ["declare_queryable", "reply"], [*asked, *states]),
    ]


def _rule(name: str, messages: list[str], keys: list[str], flow: str = "ingress") -> dict[str, Any]:
    return {"id": name, "permission": "allow", "flows": [flow], "messages": messages, "key_exprs": keys}
