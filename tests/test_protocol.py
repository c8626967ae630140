"""The table of requests: every row has its handler, every field says what it may be. (Our own protocol.)"""

import re
from pathlib import Path

import pytest

from engine.live.socket.panel_requests import PanelRequests
from engine.live.socket.server import SocketServer
from engine.protocol import TABLE, AnswerCode, RequestError, read_request, row_of
from tests.support.engine_socket import server_of
from tests.support.paths import ROOT
from tests.support.small_show import Bench

pytestmark = pytest.mark.usefixtures("runtime_dir")
