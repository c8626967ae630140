"""What an engine and a machine that lends say to each other about who plays: leases, claims, and answers to claims."""

import json
from dataclasses import dataclass

from engine.cluster.pure.output_lender import ClaimRefused, Grant


@dataclass(frozen=True)
class Lease:
    """What a machine says about its outputs.

    `epoch`: of the present grant; `holder`: the engine that plays them, None if none does; `given_to`: the engine that
    may claim them although the holder is alive; `incomplete`: outputs that have missed orders.
    """

    epoch: int
    holder: str | None
    given_to: str | None
    incomplete: tuple[str, ...] = ()

    def packed(self) -> bytes:
        """The lease as it is published."""
        return json.dumps([self.epoch, self.holder, self.given_to, self.incomplete]).encode()

    @classmethod
    def read(cls, payload: bytes) -> "Lease":
        """The lease that was packed."""
        epoch, holder, given_to, incomplete = json.loads(payload)
        return cls(epoch, holder, given_to, tuple(incomplete))


def pack_claim(who: str) -> bytes:
    """The question of an engine that asks for the outputs."""
    return json.dumps({"who": who}).encode()


def read_claim(payload: bytes) -> str:
    """The engine that asks. Raises ValueError or KeyError if it makes no sense."""
    return str(json.loads(payload)["who"])


def pack_answer(answer: Grant | ClaimRefused) -> bytes:
    """A machine's answer to a claim."""
    return json.dumps(answer._asdict()).encode()


def read_answer(payload: bytes) -> Grant | ClaimRefused:
    """The answer that was packed."""
    answer = json.loads(payload)
    return Grant(answer["epoch"]) if "epoch" in answer else ClaimRefused(str(answer["holder"]))
