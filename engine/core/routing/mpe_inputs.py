"""The inputs that are MPE controllers: which zones they have announced since they were plugged in."""

from collections.abc import Mapping

from engine.midi.mpe_configuration import AnnouncedZone, AnnouncedZones


class MpeInputs:
    """Loop only. Inputs are indices. `zones`: those that the rig gives inputs; the others are not listened to."""

    def __init__(self, zones: Mapping[int, AnnouncedZone]) -> None:
        self.zones = zones
        self._ports: dict[int, AnnouncedZones] = {}

    def hear(self, source: int, message: bytes) -> bool:
        """A controller of an input came in that is part of a parameter; whether it has another zone now."""
        if source not in self.zones:
            return False
        before = self._zone(source)
        self._ports.setdefault(source, AnnouncedZones()).turn(message)
        return self._zone(source) != before

    def announced(self, source: int, manager: int) -> AnnouncedZone | None:
        """The zone of this manager (1 or 16) at an input; None if it has not announced it."""
        port = self._ports.get(source) if source in self.zones else None
        return port.zone(manager) if port is not None else None

    def forget(self, source: int) -> None:
        """The input is gone; it may be another one that comes back."""
        self._ports.pop(source, None)

    def _zone(self, source: int) -> AnnouncedZone:
        """The one in force."""
        given = self.zones[source]
        return self.announced(source, given.zone.manager) or given
