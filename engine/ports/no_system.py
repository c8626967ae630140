"""A system without MIDI ports of its own, on which a rig of byte devices still plays."""

from typing import NoReturn

from engine.ports.port import PortError


class NoSystem:
    """A PortSystem without ports; opening one raises PortError with `reason`."""

    driver = "no ports of the system"

    def __init__(self, reason: str) -> None:
        self._reason = reason

    def inputs(self) -> list[str]:
        """See PortSystem."""
        return []

    def outputs(self) -> list[str]:
        """See PortSystem."""
        return []

    def open_input(self, pattern: str) -> NoReturn:
        """See PortSystem."""
        raise PortError(self._reason)

    def open_output(self, pattern: str) -> NoReturn:
        """See PortSystem."""
        raise PortError(self._reason)

    def open_virtual_input(self, name: str) -> NoReturn:
        """See PortSystem."""
        raise PortError(self._reason)

    def open_virtual_output(self, name: str) -> NoReturn:
        """See PortSystem."""
        raise PortError(self._reason)

    def prepare(self, inputs: int, outputs: int) -> None:
        """See PortSystem."""

    def refresh(self) -> None:
        """See PortSystem: there is nothing to connect to."""

    def close(self) -> None:
        """See PortSystem."""
