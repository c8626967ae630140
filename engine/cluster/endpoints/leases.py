"""What an engine and a machine that lends say to each other about who plays: leases, claims, and answers to claims."""

import json
from dataclasses import dataclass

from engine.cluster.pure.output_lender import ClaimRefused, Grant


@dataclass(frozen=True)
class Lease:
    """What a machine says of its outputs: by which epoch who plays them, who may claim them, and what it missed."""

    epoch: int
    holder: str | None
    given_to: str | None
    incomplete: tuple[str, ...] = ()

    def packed(self) -> bytes:
        """As it is put."""
        return json.dumps([self.epoch, self.holder, self.given_to, self.incomplete]).encode()

    @classmethod
    def read(cls, payload: bytes) -> "Lease":
        """What was packed."""
        epoch, holder, given_to, incomplete = json.loads(payload)
        return cls(epoch, holder, given_to, tuple(incomplete))


def pack_claim(who: str) -> bytes:
    """The question of an engine that wants to play."""
    return json.dumps({"who": who}).encode()


def read_claim(payload: bytes) -> str:
    """Who asks. Raises ValueError or KeyError if it makes no sense."""
    return str(json.loads(payload)["who"])


def pack_answer(answer: Grant | ClaimRefused) -> bytes:
    """What a machine says to a claim."""
    return json.dumps(answer._asdict()).encode()


def read_answer(payload: bytes) -> Grant | ClaimRefused:
    """What was packed."""
    answer = json.loads(payload)
    return Grant(answer["epoch"]) if "epoch" in answer else ClaimRefused(str(answer["holder"]))
