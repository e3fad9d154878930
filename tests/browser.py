"""A headless browser for the tests, driven through its own debugging protocol (Chrome DevTools Protocol)."""

import base64
import contextlib
import itertools
import json
import os
import shutil
import signal
import subprocess
import time
import urllib.request

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    *("--headless", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync", "--hide-scrollbars", "--remote-debugging-port=0"),
)


def executable():
    """Path of a browser, or a skip that says there is none."""
    found = next((path for path in map(shutil.which, NAMES) if path), None)
    if found is None:
        pytest.skip("no Chromium on this computer")
    return found


@contextlib.contextmanager
def browser(folder):
    """Start a browser with a new profile in `folder`; yields the address of its debugging door."""
    # Chromium refuses to run as root inside its own sandbox.
    sandbox = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    command = [executable(), *FLAGS, *sandbox, f"--user-data-dir={folder}", "about:blank"]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    process = subprocess.Popen(command, start_new_session=True, **quiet)
    try:
        door = folder / "DevToolsActivePort"
        wait_for(lambda: door.exists() and len(door.read_text().splitlines()) == 2, 60, "the browser to start")
        yield f"http://127.0.0.1:{door.read_text().splitlines()[0]}"
    finally:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def wait_for(ready, seconds, what):
    """Wait until `ready()` is true."""
    end = time.monotonic() + seconds
    while not ready():
        if time.monotonic() > end:
            raise TimeoutError(f"waited {seconds} s for {what}")
        time.sleep(0.1)


@contextlib.contextmanager
def page(address, *, width, height):
    """Open an empty page of a given size; yields a Page."""
    import websocket

    request = urllib.request.Request(f"{address}/json/new?about:blank", method="PUT")
    with urllib.request.urlopen(request) as answer:
        about = json.load(answer)
    socket = websocket.create_connection(about["webSocketDebuggerUrl"], timeout=120, suppress_origin=True)
    try:
        opened = Page(socket)
        for domain in ("Page", "Runtime", "Network", "Log"):
            opened.call(f"{domain}.enable")
        opened.resize(width, height)
        yield opened
    finally:
        socket.close()
        urllib.request.urlopen(f"{address}/json/close/{about['id']}").close()


class Page:
    """One page of the browser."""

    def __init__(self, socket):
        self._socket = socket
        self._numbers = itertools.count(1)
        self.events = []

    def call(self, method, **parameters):
        """Send one command and wait for its result; events that come meanwhile are kept."""
        number = next(self._numbers)
        self._socket.send(json.dumps({"id": number, "method": method, "params": parameters}))
        while True:
            message = json.loads(self._socket.recv())
            if message.get("id") == number:
                assert "error" not in message, f"{method}: {message['error']}"
                return message["result"]
            self.events.append(message)

    def resize(self, width, height, *, mobile=False):
        """Set the size of the window in CSS pixels."""
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=mobile)

    def open(self, url):
        """Load an address and wait until it is there."""
        self.call("Page.navigate", url=url)
        wait_for(lambda: self.evaluate("document.readyState") == "complete", 60, url)

    def evaluate(self, expression):
        """Value of a JavaScript expression; a promise is waited for."""
        answer = self.call("Runtime.evaluate", expression=expression, awaitPromise=True, returnByValue=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def screenshot(self, path, *, whole=True):
        """Keep a picture of the page, whole or as far as the window shows it."""
        path.parent.mkdir(parents=True, exist_ok=True)
        answer = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=whole)
        path.write_bytes(base64.b64decode(answer["data"]))

    def happened(self, method):
        """Parameters of every event of one kind so far."""
        return [event["params"] for event in self.events if event.get("method") == method]
