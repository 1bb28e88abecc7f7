"""The screen in a real browser, on a real run, as a person at a phone or a second monitor has it."""

import asyncio
import contextlib
import os
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import aiohttp
import numpy as np
import pytest
import soundfile
from browser import driven, running_browser, wait_for
from needs import need

from sidecar.model.commands import Continue
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.run.event_loop import EventLoop
from sidecar.run.options import RunOptions
from sidecar.run.session import Session
from sidecar.settings.goals import load_goal
from sidecar.sources.file import FileSource

pytestmark = pytest.mark.slow


NOTHING = (
    *("", "{", "[]", "3", '["stdin"]', '["stdin", 3]', '["resize", {}]', '["nothing", 1]'),
    *('["resize", {"width": "a", "height": []}]', '["stdin", "\\ud800"]', '["stdin", ""]', "[" * 5000),
)
PATIENCE_S = 30.0
TIMES = 2.0


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """A run that goes on whatever browsers do: the session, and where it takes commands. It plays half an
    hour of noise, the same second again and again, at a rate that costs little."""
    file = tmp_path_factory.mktemp("noise") / "noise.wav"
    second = np.random.default_rng(3).uniform(-0.05, 0.05, (8_000, 2))
    soundfile.write(file, np.tile(second, (1800, 1)), 8_000, "PCM_16")
    source = FileSource(
        file, now=lambda: time.monotonic() * TIMES, wait=lambda ahead_s: time.sleep(ahead_s / TIMES)
    )
    with EventLoop() as engine:
        port = OscPort([], update_hz=10.0)
        server = bind("127.0.0.1", 0)
        session = Session(
            source,
            RunOptions(load_goal("r128"), layout="stereo"),
            outlets=[lambda snapshot: engine.soon(port.offer, snapshot)],
            targets=port.status,
        )
        engine.run(port.open(server, session.send_command, feed=session))
        worker = threading.Thread(target=session.run, daemon=True)
        worker.start()
        yield session, "{}:{}".format(*server.getsockname())
        session.stop()
        worker.join(PATIENCE_S)
        engine.run(port.close())


@contextlib.asynccontextmanager
async def served(place, *more):
    """``sidecar screen --browser`` in a process of its own: the process and the link that it prints."""
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "sidecar", "screen", "--browser", "--attach", place, "--port", "0", *more),
        stderr=asyncio.subprocess.PIPE,
    )
    try:
        line = await asyncio.wait_for(process.stderr.readline(), PATIENCE_S)
        yield process, link_in(line.decode())
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.terminate()
        await asyncio.wait_for(process.communicate(), PATIENCE_S)


@pytest.fixture(scope="module")
def server(run):
    """One that all tests share which do it no harm: its process id and its link."""
    process = subprocess.Popen(
        [*(sys.executable, "-m", "sidecar", "screen", "--browser", "--attach", run[1], "--port", "0")],
        stderr=subprocess.PIPE,
        text=True,
    )
    yield process.pid, link_in(process.stderr.readline())
    process.terminate()
    process.communicate(timeout=PATIENCE_S)


@pytest.fixture(scope="module")
def chromium():
    """The address of a browser that tests share."""
    need("chromium")
    with running_browser() as address:
        yield address


def link_in(line):
    return line.removeprefix("The screen is at ").partition(". End")[0]


def children(pid):
    """The processes that *pid* started and that live (Linux: proc(5))."""
    return Path(f"/proc/{pid}/task/{pid}/children").read_text().split()


def count_marks(session):
    return sum(event.kind == "marker" for event in session.timeline().events)


def has_drawn(page, text):
    return lambda: text.encode() in bytes(page.drawn)


def drawn_text(page):
    """What is shown, row by row."""
    return "\n".join(page.screen.display)


def shown_looks(page):
    """The count to the next look at the advice that is shown."""
    return set(re.findall(r"look in +\d+ s|look +\d+ s", drawn_text(page)))


def test_a_page_shows_the_move_and_its_keys_reach_the_run(run, server, chromium):
    """What is drawn changes as the run does; ``m`` sets a mark in it; ``q`` closes the page and
    ends nothing."""
    (session, _), (pid, link) = run, server

    async def look():
        async with driven(chromium) as browser:
            page = await browser.open(link, 1280, 800)
            moves = [await wait_for(lambda: shown_looks(page))]
            moves.append(await wait_for(lambda: shown_looks(page) - moves[0]))
            marks = count_marks(session)
            await page.press("m")
            await wait_for(lambda: count_marks(session) == marks + 1)
            assert len(children(pid)) == 1
            await page.press("q")
            await wait_for(page.is_closed)
            await wait_for(lambda: not children(pid))
            return page.asked, moves[0] | moves[1]

    asked, moves = asyncio.run(look())

    assert session.snapshot().transport == "measuring"
    assert len(moves) >= 2
    assert {link.removeprefix("http")} == {
        "".join(url.partition("://")[1:])[: len(link) - 4] for url in asked
    }


def test_it_fits_a_small_and_a_middle_screen_and_follows_a_finger(run, server):
    """The letters are sized to the window, and a tap on a key in the footer is that key. No keyboard
    opens."""
    need("chromium")
    (session, _), (_, link) = run, server

    async def tap_first_key(page, box, cells):
        """Until it counts: the first tap may meet a footer that is just made anew."""
        before = session.snapshot().transport
        cell, row = (box[2] - box[0]) / cells[0], (box[3] - box[1]) / cells[1]
        while session.snapshot().transport == before:
            await page.tap(box[0] + cell * 4.5, box[3] - row / 2)
            with contextlib.suppress(AssertionError):
                await wait_for(lambda: session.snapshot().transport != before, within_s=1.0)

    async def look(browser, width, height):
        page = await browser.open(link, width, height, phone=True)
        await wait_for(lambda: re.search(r"^ ?space ", drawn_text(page), re.MULTILINE))
        size = next(url for url in page.asked if "/ws/" in url).partition("?")[2]
        cells = [int(side) for side in re.findall(r"\d+", size)]
        box = await page.run(
            "(() => { const s = document.querySelector('.xterm-screen').getBoundingClientRect();"
            " return [s.left, s.top, s.right, s.bottom] })()"
        )
        async with asyncio.timeout(PATIENCE_S):
            await tap_first_key(page, box, cells)
        assert 0 <= box[0] <= box[2] <= width
        assert height - 30 <= box[3] <= height
        assert await page.run("document.querySelector('.xterm-helper-textarea').inputMode") == "none"
        await page.leave()
        return cells

    async def look_at_all():
        async with driven(address) as browser:
            return [await look(browser, *size) for size in ((390, 844), (820, 1180), (844, 390))]

    with running_browser(scale=2) as address:
        cells = asyncio.run(look_at_all())
    session.send_command(Continue())

    assert cells == [[60, 56], [82, 51], [120, 24]]


def paper(page):
    """The ground of the first cell that is shown, as hexadecimal digits."""
    return page.screen.buffer[0][0].bg


def test_tabs_come_and_go_and_the_run_stays(run, server, chromium):
    """Two at once, each a process of its own; one that is closed takes its process along and nothing else.
    Each has the ground that its browser prefers."""
    (session, _), (pid, link) = run, server

    async def look():
        async with driven(chromium) as browser:
            one = await browser.open(link, 800, 600, prefers="light")
            two = await browser.open(link, 1200, 900, prefers="dark")
            await wait_for(has_drawn(one, "Mark"))
            await wait_for(has_drawn(two, "Mark"))
            assert [paper(page) for page in (one, two)] == ["fafbfc", "101418"]
            both = set(children(pid))
            await one.leave()
            await wait_for(lambda: len(children(pid)) == 1)
            left = set(children(pid))
            before = len(two.drawn)
            await wait_for(lambda: len(two.drawn) > before + 1000)
            return both, left

    both, left = asyncio.run(look())

    assert (len(both), len(left), left < both) == (2, 1, True)
    assert session.snapshot().transport == "measuring"


def test_what_is_killed_leaves_neither_a_process_nor_a_dead_page(run, chromium):
    """The screen's process: its page says so and offers to open it again, in place of a picture that stays
    as it was. Then what serves it: kill -9 leaves no word, and a screen without a tab ends by itself."""
    _, place = run

    async def look():
        async with served(place, "--contrast", "high") as (server, link), driven(chromium) as browser:
            page = await browser.open(link, 800, 600)
            await wait_for(has_drawn(page, "Mark"))
            os.kill(int(*children(server.pid)), signal.SIGKILL)
            await wait_for(page.is_closed)
            offered = await page.run("getComputedStyle(document.querySelector('.closed')).display")
            await page.run("document.querySelector('#again').click()")
            (again,) = await wait_for(lambda: children(server.pid))
            await wait_for(page.is_drawn)
            os.kill(server.pid, signal.SIGKILL)
            await wait_for(page.is_closed)
            await wait_for(lambda: not Path(f"/proc/{again}").exists())
            return offered

    assert asyncio.run(look()) == "grid"


async def status(client, link, **headers):
    async with client.get(link, headers=headers) as answer:
        return answer.status


def test_on_a_network_only_the_whole_link_opens_it(run):
    """Without the token 403, for the page, its parts and the websocket; with it the page, and then its
    parts by the cookie."""
    _, place = run

    async def look():
        async with served(place, "--bind", "0.0.0.0") as (_, link):
            base, _, token = link.rpartition("/?token=")
            base = f"http://127.0.0.1:{base.rpartition(':')[2]}"
            async with aiohttp.ClientSession(cookie_jar=aiohttp.CookieJar(unsafe=True)) as client:
                refused = [
                    await status(client, f"{base}{path}")
                    for path in ("/", "/page.js", "/ws/dark", "/?token=x")
                ]
                with pytest.raises(aiohttp.WSServerHandshakeError) as without:
                    await client.ws_connect(f"{base}/ws/dark", headers={"Origin": base})
                opened = [
                    await status(client, f"{base}/?token={token}"),
                    await status(client, f"{base}/page.js"),
                ]
                with pytest.raises(aiohttp.WSServerHandshakeError) as foreign:
                    await client.ws_connect(f"{base}/ws/dark", headers={"Origin": "http://evil.example"})
                async with client.ws_connect(
                    f"{base}/ws/dark?width=80&height=24", headers={"Origin": base}
                ) as channel:
                    drawn = await channel.receive_bytes()
            return token, refused, opened, (without.value.status, foreign.value.status), drawn

    token, refused, opened, channels, drawn = asyncio.run(look())

    assert len(token) >= 32
    assert (refused, opened, channels) == ([403] * 4, [200, 200], (403, 403))
    assert drawn


def test_what_a_page_sends_that_is_nothing_is_passed_over(run, server):
    """Broken messages of any kind; the key after them still works."""
    (session, _), (_, link) = run, server

    async def look():
        async with aiohttp.ClientSession() as client:
            origin = {"Origin": link.rstrip("/")}
            channel = await client.ws_connect(f"{link}ws/dark?width=x&height=-1", headers=origin)
            await channel.receive_bytes()
            for text in NOTHING:
                await channel.send_str(text)
            marks = count_marks(session)
            await channel.send_str('["resize", {"width": 90, "height": 30}]')

            async def marked():
                await channel.send_str('["stdin", "m"]')
                await channel.receive_bytes()
                return count_marks(session) > marks

            await wait_for(marked)
            await channel.close()

    asyncio.run(look())


def test_a_port_that_is_taken_is_said_in_one_line(server):
    """Exit code 2, and what to do."""
    port = server[1].rstrip("/").rpartition(":")[2]
    done = subprocess.run(
        [*(sys.executable, "-m", "sidecar", "screen", "--browser", "--port", port)],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )

    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "--port" in done.stderr
