"""What the page shows as out of date is up to date again with the first frame, at whatever moment that comes.

The page's own module, with a clock, timers and a socket of the test. Source: our own protocol (`PanelMessage`).
"""

import json
import subprocess
from pathlib import Path

from tests.support.needed import need

PAGE = Path(__file__).parents[2] / "engine" / "panel" / "page"
#: frames come until the engine goes, and again from `back` ms later; what is shown then, as `show.js` decides it
SCRIPT = """
    const [module, changes, back] = JSON.parse(require("fs").readFileSync(0, "utf8"));
    const code = (text) => "data:text/javascript," + encodeURIComponent(text);
    const timers = [];
    let now = 0;
    const socket = { listeners: {}, send() {}, addEventListener(what, heed) { this.listeners[what] = heed; } };
    const received = (message) => socket.listeners.message({ data: JSON.stringify(message) });
    Object.defineProperty(globalThis, "performance", { value: { now: () => now } });
    globalThis.WebSocket = function () { return socket; };
    globalThis.document = { hidden: false, addEventListener() {} };
    globalThis.location = { protocol: "http:", host: "" };
    globalThis.setTimeout = () => 0;
    globalThis.setInterval = (heed, every) => timers.push({ heed, every });
    const passes = (ms) => {
      for (const end = now + ms; now < end;) {
        now += 1;
        for (const { heed, every } of timers) if (now % every === 0) heed();
      }
    };
    import(code(module.replace("./rig-changes.js", code(changes)))).then(({ held, isOld, on, start }) => {
      let shown = false;
      for (const what of ["connection", "age"]) on(what, () => { shown = isOld() || held.gone !== null; });
      start();
      socket.listeners.open();
      received({ role: "operate" });
      const shownAfter = back.map((pause) => {
        passes(1000 - now % 1000 + 100);
        received({ frame: { at: 1 } });
        received({ gone: "the engine has ended" });
        const whileGone = shown;
        passes(pause);
        received({ back: true });
        received({ frame: { at: 2 } });
        passes(1000);
        received({ frame: { at: 3 } });
        return [whileGone, shown];
      });
      console.log(JSON.stringify(shownAfter));
    });
"""


def test_an_engine_that_comes_back_is_shown_at_every_moment() -> None:
    """Also when it comes back after two seconds without a frame, just before the page has noticed that."""
    need("node")
    pauses = list(range(0, 3000, 7))
    modules = [(PAGE / name).read_text(encoding="utf-8") for name in ("connection.js", "rig-changes.js")]
    asked = json.dumps([*modules, pauses])
    done = subprocess.run(["node", "-e", SCRIPT], input=asked, capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == [[True, False]] * len(pauses)
