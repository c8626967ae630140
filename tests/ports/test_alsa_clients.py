"""Reads the list of the sequencer's connections that Linux gives. Layout: sound/core/seq/seq_clientmgr.c, Linux 6.1."""

from pathlib import Path

from engine.ports.alsa_clients import AlsaConnections

TOLD = """Client info
  cur  clients : 4
  peak clients : 5
  max  clients : 192

Client   0 : "System" [Kernel]
  Port   0 : "Timer" (Rwe-)
  Port   1 : "Announce" (R-e-)
Client  16 : "Virtual Raw MIDI 0-0" [Kernel]
  Port   0 : "VirMIDI 0-0" (RWeX)
    Connecting To: 128:0, 129:1[ex]
    Connected From: 129:0[real:0]
Client 128 : "bayleaf" [User]
  Port   0 : "Virtual Raw "MIDI" [0-0]" (-We-)
    Connected From: 16:0
  Output pool :
    Pool size          : 0
  Input pool :
    Pool size          : 200
Client 129 : "other" [User]
  Port   0 : "out" (R-e-)
    Connecting To: 16:0[real:0]
  Port   1 : "in" (-We-)
    Connected From: 16:0[ex]
"""


def test_what_is_joined_to_a_port(tmp_path: Path) -> None:
    """Connections both ways are listed, by client and port, whatever characters their names contain."""
    clients = tmp_path / "clients"
    clients.write_text(TOLD)
    joined_to = AlsaConnections(clients).of
    joined = joined_to("Virtual Raw MIDI 0-0:VirMIDI 0-0 16:0")
    assert joined == [
        'bayleaf:Virtual Raw "MIDI" [0-0]',
        "other:in",
        "other:out",
    ]
    assert joined_to('bayleaf:Virtual Raw "MIDI" [0-0] 128:0') == ["Virtual Raw MIDI 0-0:VirMIDI 0-0"]
    assert joined_to("System:Timer 0:0") == []
    assert joined_to("nobody:none 140:0") == []


def test_a_kernel_that_does_not_tell(tmp_path: Path) -> None:
    """Where the file is missing, no connection is listed."""
    assert AlsaConnections(tmp_path / "none").of("System:Timer 0:0") == []


def test_one_look_serves_all_who_ask_at_the_same_time(tmp_path: Path) -> None:
    """The list is read again after 20 ms, or when a port has just been connected."""
    clients, now = tmp_path / "clients", 1_000_000_000
    connections = AlsaConnections(clients, lambda: now)
    clients.write_text(TOLD)
    assert connections.of("bayleaf:keys 128:0")
    clients.write_text("")
    now += 20_000_000
    assert connections.of("other:out 129:0")
    now += 1
    assert not connections.of("other:out 129:0")
    clients.write_text(TOLD)
    assert not connections.of("other:out 129:0")
    connections.forget()
    assert connections.of("other:out 129:0")
