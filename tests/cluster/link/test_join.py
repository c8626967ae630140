"""A rig of one machine needs none of the network packages. (Our own design; no outside source.)"""

import subprocess
import sys

from tests.support.paths import ROOT

#: a Python without the network packages
WITHOUT = """
import sys
class Absent:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in ("zenoh", "cryptography"):
            raise ModuleNotFoundError(name)
sys.meta_path.insert(0, Absent())
from engine.cli.app import main
sys.argv[1:] = ["check", "presets/demo.toml"]
try:
    main()
except SystemExit as end:
    assert not end.code, end.code
from pathlib import Path
from engine.cluster.link.join import join
from engine.cluster.link.link import LinkError
from engine.rig.read.load import read
try:
    join(read('''RIG''', "rig"), Path("rig.toml"), print)
except LinkError as fault:
    print(fault)
"""
RIG = """
format = 1
[network]
machine = "desk"
main = "desk"
[network.machines]
desk = { listen = "127.0.0.1:7410" }
left = { listen = "127.0.0.1:7448" }
[outputs]
strings = { port = "Box", machine = "left" }
[[scenes]]
number = 1
name = "One"
"""


def test_without_the_network_parts_other_rigs_play_and_this_one_says_what_it_needs() -> None:
    """Without zenoh and cryptography the command works; only a rig with a [network] is refused, with the remedy."""
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT.replace("RIG", RIG)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.stderr == ""
    assert done.stdout.splitlines()[-1].endswith("install them with: pip install 'bayleaf[network]'")
