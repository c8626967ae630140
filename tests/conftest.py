"""What holds for every test: the processes that it starts use the sources beside it."""

import os

from tests.support.paths import ROOT

os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))
