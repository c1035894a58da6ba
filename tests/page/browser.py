"""A browser without a screen, driven by W3C WebDriver (https://www.w3.org/TR/webdriver2/) with Python's own library alone."""
import base64
import contextlib
import json
import os
import re
import shutil
import socket
import subprocess
import tempfile
import time
import urllib.error
import urllib.request

ELEMENT = "element-6066-11e4-a52e-4f735466cecf"  # the standard's name of an element's reference
TAB, ENTER, SPACE, DOWN = "\ue004", "\ue007", " ", "\ue015"  # the standard's key codes


class WebDriverError(Exception):
    pass


class Browser:
    def __init__(self, width=1280, height=900, dark=False, arguments=()):
        self._folder = tempfile.mkdtemp(prefix="bindhue-page-")
        with contextlib.closing(socket.socket()) as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        self._log = open(os.path.join(self._folder, "driver.log"), "w")
        self._driver = subprocess.Popen(["chromedriver", f"--port={port}"], stdout=self._log, stderr=self._log)
        self._base = f"http://127.0.0.1:{port}"
        self._opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        try:
            self._wait_for_driver()
            arguments = [*arguments, "--headless=new", f"--user-data-dir={self._folder}/profile", "--disable-gpu", "--no-first-run",
                         "--disable-dev-shm-usage", "--disable-background-networking", "--no-proxy-server"]
            if os.geteuid() == 0:
                arguments.append("--no-sandbox")  # Chromium's sandbox does not run as root, as continuous integration does
            answer = self._ask("POST", "/session", {"capabilities": {"alwaysMatch": {
                "browserName": "chrome", "goog:chromeOptions": {"args": arguments},
                "goog:loggingPrefs": {"browser": "ALL"}}}})
            self._session = "/session/" + answer["sessionId"]
            self.shape(width, height, dark)
        except BaseException:
            self.close()
            raise

    def close(self):
        with contextlib.suppress(Exception):
            self._ask("DELETE", self._session)
        self._driver.terminate()
        self._driver.wait(10)
        self._log.close()
        shutil.rmtree(self._folder, ignore_errors=True)

    __enter__ = lambda self: self

    def __exit__(self, *_):
        self.close()

    def _wait_for_driver(self):
        for _ in range(200):
            with contextlib.suppress(OSError, WebDriverError):
                if self._ask("GET", "/status")["ready"]:
                    return
            time.sleep(0.05)
        raise WebDriverError("chromedriver does not answer")

    def _ask(self, method, path, body=None):
        data = None if method != "POST" else json.dumps(body or {}).encode()
        request = urllib.request.Request(self._base + path, data, {"Content-Type": "application/json"}, method=method)
        try:
            with self._opener.open(request, timeout=120) as response:
                return json.load(response)["value"]
        except urllib.error.HTTPError as error:
            value = json.load(error)["value"]
            raise WebDriverError(f"{value['error']}: {value['message'].splitlines()[0]}") from None

    def _in(self, method, path, body=None):
        return self._ask(method, self._session + path, body)

    def devtools(self, command, **parameters):
        return self._in("POST", "/goog/cdp/execute", {"cmd": command, "params": parameters})

    def shape(self, width, height, dark=False, touch=False):
        self.devtools("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=touch)
        self.devtools("Emulation.setEmulatedMedia",
                      features=[{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}])
        self.devtools("Emulation.setTouchEmulationEnabled", enabled=touch)

    def open(self, url):
        self._in("POST", "/url", {"url": url})

    def run(self, script, *arguments):
        """Runs the body of a function; what it returns or what its promise becomes."""
        return self._in("POST", "/execute/sync", {"script": script, "args": list(arguments)})

    def find(self, css):
        return self._in("POST", "/element", {"using": "css selector", "value": css})[ELEMENT]

    def text(self, css):
        return self._in("GET", f"/element/{self.find(css)}/text")

    def click(self, css):
        self._in("POST", f"/element/{self.find(css)}/click")

    def type(self, css, text):
        """Keys into an element; the path of a file into a file input."""
        self._in("POST", f"/element/{self.find(css)}/value", {"text": text})

    def press(self, *keys):
        """Keys to whatever has the focus."""
        actions = [action for key in keys for action in ({"type": "keyDown", "value": key}, {"type": "keyUp", "value": key})]
        self._in("POST", "/actions", {"actions": [{"type": "key", "id": "keyboard", "actions": actions}]})

    def drag(self, start, end):
        """A pointer pressed at one place of the viewport and let go at another; CSS pixels."""
        to = lambda at: {"type": "pointerMove", "duration": 0, "x": round(at[0]), "y": round(at[1])}
        halfway = [(start[0] + end[0]) / 2, (start[1] + end[1]) / 2]
        actions = [to(start), {"type": "pointerDown", "button": 0}, to(halfway), to(end), {"type": "pointerUp", "button": 0}]
        self._in("POST", "/actions", {"actions": [{"type": "pointer", "id": "mouse", "actions": actions}]})

    def windows(self):
        return self._in("GET", "/window/handles")

    def switch(self, window):
        self._in("POST", "/window", {"handle": window})

    def until_windows(self, count, seconds=30):
        end = time.monotonic() + seconds
        while len(self.windows()) < count:
            if time.monotonic() > end:
                raise AssertionError(f"never in {seconds} s: {count} windows")
            time.sleep(0.05)

    def until(self, script, what, seconds=60):
        """Waits for an expression to hold. One that asks an element which is not there (between two drawings of a list, say) does not."""
        end, why = time.monotonic() + seconds, "it did not hold"
        while time.monotonic() < end:
            try:
                if value := self.run("return " + script):
                    return value
            except WebDriverError as error:
                if not str(error).startswith("javascript error"):
                    raise
                why = error
            time.sleep(0.05)
        raise AssertionError(f"never in {seconds} s: {what} ({why})")

    def complaints(self):
        """What the console had to say since last asked: errors of scripts, what the policy forbade."""
        return [entry["message"] for entry in self._in("POST", "/se/log", {"type": "browser"}) if entry["level"] == "SEVERE"]

    def picture(self, path, full=True):
        options = {"captureBeyondViewport": True} if full else {}
        if full:
            size = self.run("const e = document.documentElement; return [innerWidth, e.scrollHeight]")
            options["clip"] = {"x": 0, "y": 0, "width": size[0], "height": size[1], "scale": 1}
        with open(path, "wb") as out:
            out.write(base64.b64decode(self.devtools("Page.captureScreenshot", format="png", **options)["data"]))


class Bench:
    """bindhue bench on a free port."""

    def __init__(self, command, source, shop=None, more=()):
        self._process = subprocess.Popen(
            [command, "bench", "--json", "--port", "0", "--card", f"{source}/samples/card.json", "--shop", str(shop or f"{source}/palettes/demo-shop"), *more],
            stdout=subprocess.PIPE, text=True)
        text = ""
        for line in self._process.stdout:
            text += line
            if line.rstrip() == "}":
                break
        said = json.loads(text)
        self.address = said["address"]
        self.shared = said.get("shared")

    def alive(self):
        return self._process.poll() is None

    def close(self):
        self._process.terminate()
        code = self._process.wait(20)
        self._process.stdout.close()
        assert code == 0, f"bindhue bench ended with {code}"

    __enter__ = lambda self: self

    def __exit__(self, *_):
        self.close()
