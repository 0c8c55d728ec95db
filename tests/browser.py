"""A headless Chromium without network, driven over its debugging pipe: enough to open a page, press keys and look."""

import base64
import importlib.util
import json
import os
import re
import select
import subprocess
import time
from pathlib import Path

from studies.common import paper

FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--remote-debugging-pipe", "--no-first-run", "--hide-scrollbars",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-default-apps",
    "--proxy-server=127.0.0.1:9",  # nobody listens there: whatever the page asked for would fail, and be seen
    "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
)  # fmt: skip


FOUND = paper.browser()  # before any test hides it from the commands


def find():
    """Path of a Chromium, or None; on Windows the pipe works otherwise, and none is looked for."""
    return None if os.name == "nt" else FOUND


SIDES = ("Top", "Bottom", "Left", "Right")


def sheets(pdf):
    """How many pages a PDF has that a Chromium wrote."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def axe():
    """Source text of axe-core, the checker of accessibility, as axe-playwright-python carries it; None where that is not installed."""
    found = importlib.util.find_spec("axe_playwright_python")
    file = found and Path(found.submodule_search_locations[0]) / "axe.min.js"
    return file.read_text(encoding="utf-8") if file and file.is_file() else None


class Browser:
    """One page in a Chromium of its own. Use as a context. `log`: console messages and errors; `asked`: addresses wanted."""

    def __init__(self, folder, width=760, height=760, flags=()):
        import fcntl

        to_read, self.write = os.pipe()
        self.read, to_write = os.pipe()
        ends = [fcntl.fcntl(end, fcntl.F_DUPFD, 10) for end in (to_read, to_write)]

        def connect():  # the browser reads from descriptor 3 and writes to 4
            os.dup2(ends[0], 3)
            os.dup2(ends[1], 4)

        call = [find(), *FLAGS, *flags, f"--user-data-dir={folder}", f"--window-size={width},{height}", "about:blank"]
        self.process = subprocess.Popen(
            call, pass_fds=(3, 4), preexec_fn=connect, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        for end in (to_read, to_write, *ends):
            os.close(end)
        self.rest, self.number, self.session, self.log, self.asked, self.seen = b"", 0, None, [], [], []
        target = self.send("Target.createTarget", url="about:blank")["targetId"]
        self.session = self.send("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.send(f"{domain}.enable")
        self.resize(width, height)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.terminate()
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        os.close(self.write)
        os.close(self.read)

    def send(self, method, timeout=40.0, **params):
        """Result of a command of the debugging protocol."""
        self.number += 1
        message = {"id": self.number, "method": method, "params": params}
        if self.session:
            message["sessionId"] = self.session
        os.write(self.write, json.dumps(message).encode() + b"\0")
        answer = self._until(lambda m: m.get("id") == self.number, timeout, method)
        if "error" in answer:
            raise RuntimeError(f"{method}: {answer['error']['message']}")
        return answer["result"]

    def _until(self, wanted, timeout, what):
        end = time.monotonic() + timeout
        while True:
            while b"\0" in self.rest:
                one, self.rest = self.rest.split(b"\0", 1)
                message = json.loads(one)
                self._note(message)
                if wanted(message):
                    return message
            if not select.select([self.read], [], [], max(0.0, end - time.monotonic()))[0]:
                raise TimeoutError(f"{what}: no answer from the browser in {timeout:g} s")
            if not (more := os.read(self.read, 1 << 20)):
                raise RuntimeError(f"{what}: the browser has gone")
            self.rest += more

    def _note(self, message):
        method, p = message.get("method"), message.get("params", {})
        self.seen.append(method)
        if method == "Runtime.consoleAPICalled":
            self.log.append((p["type"], " ".join(str(a.get("value", a.get("description"))) for a in p["args"])))
        elif method == "Runtime.exceptionThrown":
            self.log.append(("exception", p["exceptionDetails"].get("exception", {}).get("description", "?")))
        elif method == "Log.entryAdded":
            self.log.append((p["entry"]["level"], p["entry"]["text"]))
        elif method == "Network.requestWillBeSent":
            self.asked.append(p["request"]["url"])

    def open(self, path):
        self.seen.clear()
        self.send("Page.navigate", url=Path(path).absolute().as_uri())
        if "Page.loadEventFired" not in self.seen:
            self._until(lambda m: m.get("method") == "Page.loadEventFired", 40.0, "loading")

    def resize(self, width, height):
        self.send("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)

    def run(self, script):
        """Value of a JavaScript expression, promises awaited."""
        found = self.send("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in found:
            raise RuntimeError(found["exceptionDetails"]["exception"].get("description", "?"))
        return found["result"].get("value")

    def press(self, key):
        """A real key press; key as in KeyboardEvent.key."""
        text = key if len(key) == 1 else ""
        for kind in ("keyDown", "keyUp"):
            self.send("Input.dispatchKeyEvent", type=kind, key=key, text=text if kind == "keyDown" else "")

    def drag(self, start, end):
        """The mouse pressed at `start` (x, y), moved to `end` and let go."""
        for kind, (x, y), buttons in (("mousePressed", start, 1), ("mouseMoved", end, 1), ("mouseReleased", end, 0)):
            self.send("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", buttons=buttons, clickCount=1)

    def screenshot(self, path, whole=False):
        found = self.send("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        Path(path).write_bytes(base64.b64decode(found["data"]))

    def print(self, path):
        found = self.send("Page.printToPDF", preferCSSPageSize=True, printBackground=False)
        Path(path).write_bytes(base64.b64decode(found["data"]))

    def faults(self):
        """['rule: what is wrong, in which element'] that axe-core finds in the opened page, everything unfolded."""
        self.run("document.querySelectorAll('details').forEach(d => d.open = true)")
        self.run(f"{axe()}; 0")
        return self.run(
            "axe.run().then(r => r.violations.flatMap(v => v.nodes.map(n => `${v.id}: ${v.help}, in ${n.html.slice(0, 200)}`)))"
        )

    def sheets(self, paper):
        """How many sheets the page takes when it is printed; paper: 'A4' or 'letter'."""
        width, height = {"A4": (210 / 25.4, 297 / 25.4), "letter": (8.5, 11)}[paper]
        margins = {f"margin{side}": 14 / 25.4 if side in ("Top", "Bottom") else 12 / 25.4 for side in SIDES}
        return sheets(
            base64.b64decode(self.send("Page.printToPDF", paperWidth=width, paperHeight=height, **margins)["data"])
        )
