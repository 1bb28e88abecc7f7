"""What the tests of discovery share: snapshots, a server on a real port, and the schema."""

import asyncio
import json
from pathlib import Path

import aiohttp
import jsonschema
import pytest

from sidecar.model.readings import Move, Reading
from sidecar.model.snapshot import ArmState, Snapshot, Stem
from sidecar.osc.access import AccessPolicy
from sidecar.oscquery.server import Discovery, bind
from sidecar.run.event_loop import EventLoop
from sidecar.settings.goals import load_goal

OSC_PORT = 9139
SCHEMA = json.loads(Path(__file__).with_name("oscquery_schema.json").read_text(encoding="utf-8"))


@pytest.fixture
def a_snapshot():
    def make(momentary=-20.0, **changes):
        told = {
            "transport": "measuring",
            "goal": load_goal("r128"),
            "reading": Reading(momentary, true_peak=(-3.0, -4.0)),
            "stems": (Stem("voice", -2.0, Move(0.5), -3.0), Stem("music", -8.0, Move(-3.0), -6.0)),
            "arm": ArmState("mine", True, "Armed by the person."),
        }
        return Snapshot(**{**told, **changes})

    return make


@pytest.fixture
def valid():
    """Raises where something is not of the shape that the schema gives to that name."""

    def check(name, found):
        checker = jsonschema.FormatChecker()
        schema = {**SCHEMA, "$ref": f"#/$defs/{name}"}
        jsonschema.Draft202012Validator(schema, format_checker=checker).validate(found)

    return check


class Served:
    """Discovery that answers on a port of this machine."""

    def __init__(self, update_hz, access, host):
        self.engine = EventLoop().__enter__()
        self.discovery = Discovery(OSC_PORT, access, update_hz=update_hz)
        server = bind(host, 0)
        self.port = server.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.engine.run(self.discovery.open(server))
        self._is_open = True

    def offer(self, snapshot):
        self.engine.soon(self.discovery.offer, snapshot)

    def get(self, path, **headers):
        """Status, and what was said: from JSON where it is."""
        return self.ask("GET", path, **headers)

    def ask(self, method, path, **headers):
        async def asked():
            async with (
                aiohttp.ClientSession(headers=headers) as session,
                session.request(method, self.url + path) as response,
            ):
                is_json = response.content_type == "application/json"
                return response.status, (await response.json() if is_json else await response.text())

        return asyncio.run(asked())

    def end(self):
        if self._is_open:
            self._is_open = False
            self.engine.run(self.discovery.close())
            self.engine.__exit__()


@pytest.fixture
def serve():
    """Starts a server; ends it with the test."""
    served = []

    def start(update_hz=10.0, access=None, host="127.0.0.1"):
        served.append(Served(update_hz, access or AccessPolicy(), host))
        return served[-1]

    yield start
    for one in served:
        one.end()
