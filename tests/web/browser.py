"""A real browser, driven over its DevTools protocol (a public protocol, spoken here with aiohttp only)."""

from __future__ import annotations

import asyncio
import base64
import contextlib
import itertools
import shutil
import subprocess
import tempfile
from pathlib import Path

import aiohttp
import pyte

PATIENCE_S = 60.0


async def wait_for(condition, within_s=PATIENCE_S):
    """The first true answer of *condition*, which may be a coroutine function."""
    end = asyncio.get_running_loop().time() + within_s
    while True:
        found = condition()
        found = await found if asyncio.iscoroutine(found) else found
        if found:
            return found
        assert asyncio.get_running_loop().time() < end, "it never came"
        await asyncio.sleep(0.05)


class Browser:
    """One headless browser, at an address; pages of any size."""

    def __init__(self, address):
        self.address = address
        self.client = aiohttp.ClientSession()
        self.pages = []

    async def open(self, url, width, height, *, phone=False, prefers="dark"):
        """A tab of that size, in CSS pixels. prefers: its shade of the ground (Media Queries 5, §12.5)."""
        async with self.client.put(f"{self.address}/json/new?about:blank") as answer:
            told = await answer.json()
        page = Page(
            self, told["id"], await self.client.ws_connect(told["webSocketDebuggerUrl"], max_msg_size=0)
        )
        self.pages.append(page)
        for domain in ("Page", "Runtime", "Network"):
            await page.ask(f"{domain}.enable")
        await page.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=0,  # an emulated one does not reach canvases, which are sized in device pixels
            mobile=phone,
        )
        if phone:
            await page.ask("Emulation.setTouchEmulationEnabled", enabled=True)
        scheme = {"name": "prefers-color-scheme", "value": prefers}
        await page.ask("Emulation.setEmulatedMedia", features=[scheme])
        await page.ask("Page.navigate", url=url)
        return page

    async def close(self):
        for page in list(self.pages):
            await page.leave()
        await self.client.close()


class Page:
    """One tab."""

    def __init__(self, browser, target, channel):
        self.browser, self.target, self.channel = browser, target, channel
        self.numbers = itertools.count(1)
        self.waiting = {}
        self.drawn = bytearray()
        """What the terminal was sent, byte for byte."""
        self.screen = pyte.Screen(300, 120)
        """What a terminal of another make shows of it."""
        self.stream = pyte.ByteStream(self.screen)
        self.asked = []
        """Every address that the page loaded from."""
        self.reader = asyncio.create_task(self._read())

    async def _read(self):
        async for message in self.channel:
            told = message.json()
            if "id" in told:
                self.waiting.pop(told["id"]).set_result(told)
            elif told["method"] == "Network.webSocketFrameReceived":
                frame = told["params"]["response"]
                data = base64.b64decode(frame["payloadData"]) if frame["opcode"] == 2 else b""
                self.drawn += data
                self.stream.feed(data)
            elif told["method"] == "Network.requestWillBeSent":
                self.asked.append(told["params"]["request"]["url"])
            elif told["method"] == "Network.webSocketCreated":
                self.asked.append(told["params"]["url"])

    async def ask(self, method, **parameters):
        number = next(self.numbers)
        self.waiting[number] = asyncio.get_running_loop().create_future()
        await self.channel.send_json({"id": number, "method": method, "params": parameters})
        async with asyncio.timeout(PATIENCE_S):
            told = await asyncio.shield(self.waiting[number])
        assert "error" not in told, told
        return told["result"]

    async def run(self, code):
        """The value of some JavaScript."""
        return (await self.ask("Runtime.evaluate", expression=code, returnByValue=True))["result"].get(
            "value"
        )

    async def press(self, key):
        """One key, as a hand would."""
        await self.ask("Input.dispatchKeyEvent", type="keyDown", key=key, text=key)
        await self.ask("Input.dispatchKeyEvent", type="keyUp", key=key)

    async def tap(self, x, y):
        """One finger, in CSS pixels."""
        await self.ask("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}])
        await self.ask("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])

    async def shot(self, path):
        """A picture of the page."""
        told = await self.ask("Page.captureScreenshot", format="png")
        Path(path).write_bytes(base64.b64decode(told["data"]))

    async def is_drawn(self):
        return await self.run("document.body.classList.contains('-first-byte')")

    async def is_closed(self):
        return await self.run("document.body.classList.contains('-closed')")

    async def leave(self):
        """Closes the tab."""
        self.browser.pages.remove(self)
        async with self.browser.client.get(f"{self.browser.address}/json/close/{self.target}") as answer:
            await answer.read()
        await self.channel.close()
        await self.reader


@contextlib.contextmanager
def running_browser(scale=1):
    """The address of a browser that runs for as long as it is needed; scale: device pixels of a CSS pixel."""
    folder = Path(tempfile.mkdtemp(prefix="browser-"))
    process = subprocess.Popen(
        [
            str(shutil.which("chromium")),
            *("--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run"),
            *("--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1", "--hide-scrollbars"),
            f"--force-device-scale-factor={scale}",
            *(f"--user-data-dir={folder}", "--remote-debugging-port=0", "about:blank"),
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        yield f"http://127.0.0.1:{asyncio.run(wait_for(lambda: _port_in(folder)))}"
    finally:
        process.terminate()
        process.wait(PATIENCE_S)
        shutil.rmtree(folder, ignore_errors=True)


def _port_in(folder):
    found = folder / "DevToolsActivePort"
    return found.read_text().split()[0] if found.exists() and found.read_text().strip() else None


@contextlib.asynccontextmanager
async def driven(address):
    """The browser that runs at that address, with no page open before or after."""
    browser = Browser(address)
    try:
        yield browser
    finally:
        await browser.close()
