"""What a browser asks the panel itself, not the engine: which browsers are paired, codes for more, the end of one."""

from engine.panel.frame_merging import Facts
from engine.panel.paired_browsers import Role
from engine.panel.pairing import Pairing
from engine.panel.pairing_display import pairing_link, pairing_squares
from engine.plurals import counted
from engine.protocol import PAIRINGS, Answer, AnswerCode, PairingsAnswer, done, refused


class PairingRequests:
    """Answers browsers that may do everything. `address`: what other machines open; None if they are not admitted."""

    def __init__(self, pairing: Pairing, address: str | None) -> None:
        self._pairing, self._address = pairing, address

    def answer(self, request: Facts, role: Role, own_token: str | None) -> Answer:
        """`own_token`: of the browser that asks; None if it is on this machine."""
        if role != "operate":
            text = "only a browser that may do everything can see pairings; nothing was done"
            return refused(AnswerCode.NOT_ALLOWED, text)
        if request == {"do": PAIRINGS}:
            return self._listed(own_token)
        if request.keys() == {"do", "what", "id"} and request["what"] == "end" and isinstance(request["id"], str):
            return self._end(request["id"])
        text = f'{PAIRINGS} takes nothing more, or "what": "end" with the "id" of a pairing; nothing was done'
        return refused(AnswerCode.BAD_REQUEST, text)

    def _listed(self, own_token: str | None) -> PairingsAnswer:
        browsers = self._pairing.browsers
        own = browsers.name_of(own_token) if own_token is not None else None
        rows = [{"id": name, **each._asdict(), "own": name == own} for name, each in browsers.listed().items()]
        text = f"{counted(len(rows), 'browser')} paired"
        return PairingsAnswer(text=text, pairings=rows, codes=self._codes(self._address) if self._address else [])

    def _codes(self, address: str) -> list[Facts]:
        return [
            {"role": role, "code": code, "link": pairing_link(address, code), "squares": pairing_squares(address, code)}
            for role, code in self._pairing.codes.items()
        ]

    def _end(self, name: str) -> Answer:
        try:
            found = self._pairing.browsers.end(name)
        except OSError as fault:
            return refused(AnswerCode.FILE_FAILED, f"the pairings cannot be written: {fault.strerror}")
        return done("that browser is no longer paired") if found else refused(AnswerCode.UNCHANGED, "it is not paired")
