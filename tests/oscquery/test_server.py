"""Discovery over real HTTP: what a client finds, and what is refused."""

import contextlib
import socket
import urllib.request

import aiohttp
import pytest

from sidecar.errors import NetworkError
from sidecar.osc.table.addresses import INCOMING, OUTGOING, ROOT
from sidecar.osc.table.exchange import SERVICES
from sidecar.oscquery.server import MOST_CONNECTIONS_OF_ONE, bind


def test_a_client_that_walks_from_the_root_finds_every_address(serve, a_snapshot, valid):
    """Each node can be asked for by its own path and says the same there as in the whole tree."""
    served = serve()
    served.offer(a_snapshot())
    todo, found = [served.get("/")[1]], set()
    while todo:
        node = todo.pop()
        valid("node", node)
        assert (200, node) == served.get(node["FULL_PATH"])
        todo += node.get("CONTENTS", {}).values()
        if node["ACCESS"]:
            found.add(node["FULL_PATH"])

    assert {ROOT + row.path for row in (*OUTGOING, *INCOMING, *SERVICES)} == found


def test_host_info_says_where_commands_go(serve, valid):
    """The UDP port and address that take commands, and what of the proposal is there."""
    status, told = serve().get("/?HOST_INFO")

    valid("host_info", told)
    assert (
        status,
        told["OSC_PORT"],
        told["OSC_IP"],
        told["OSC_TRANSPORT"],
    ) == (200, 9139, "127.0.0.1", "UDP")
    assert told["EXTENSIONS"]["LISTEN"]


def test_host_info_is_told_whatever_the_path(serve):
    """The proposal: a server ignores the path of that query."""
    served = serve()

    assert served.get("/?HOST_INFO") == served.get("/no/such/path?HOST_INFO")


def test_host_info_names_no_address_where_the_port_stands_on_every_one(serve, valid):
    """Commands then go wherever the question went to."""
    _, told = serve(host="0.0.0.0").get("/?HOST_INFO")

    valid("host_info", told)
    assert "OSC_IP" not in told


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("VALUE", [-20.5]),
        ("TYPE", "f"),
        ("ACCESS", 1),
        ("UNIT", ["LUFS"]),
        ("FULL_PATH", "/sidecar/momentary"),
        ("DESCRIPTION", "momentary loudness, 0.4 s"),
    ],
)
def test_one_attribute_can_be_asked_for(serve, a_snapshot, query, expected):
    """It comes alone, under its name."""
    served = serve()
    served.offer(a_snapshot(-20.5))

    assert (200, {query: expected}) == served.get(f"/sidecar/momentary?{query}")


@pytest.mark.parametrize(
    ("asked", "status"),
    [
        ("/sidecar/fader?RANGE", 200),
        ("/sidecar?CONTENTS", 200),
        ("/sidecar/?CONTENTS", 200),
        ("/sidecar/momentary?RANGE", 204),
        ("/sidecar/momentary?CONTENTS", 204),
        ("/sidecar/momentary?VALUE", 204),  # nothing was measured yet
        ("/sidecar?VALUE", 204),
        ("/sidecar/momentary?CRITICAL", 204),
        ("/sidecar/momentary?LOUDNESS", 400),
        ("/sidecar/momentary?value", 400),
        ("/sidecar/momentary?VALUE&TYPE", 400),
        ("/sidecar/nothing", 404),
        ("/sidecar/nothing?VALUE", 404),
        ("/momentary", 404),
        ("/sidecar/../../etc/passwd", 404),
        ("/sidecar/*", 404),
    ],
)
def test_the_status_tells_absent_from_wrong_from_unknown(serve, asked, status):
    """204 for an attribute that the node has not got, 400 for none at all, 404 for no such node."""
    assert status == serve().get(asked)[0]


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS"])
def test_nothing_but_reading_is_possible(serve, method):
    """Commands go over OSC only."""
    assert serve().ask(method, "/sidecar/reset")[0] == 405


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("127.0.0.1:9999", 200),
        ("localhost:9999", 200),
        ("LOCALHOST", 200),
        ("[::1]:9999", 200),
        ("attacker.example", 403),
        ("attacker.example:9999", 403),
        ("localhost.attacker.example", 403),
        ("127.0.0.1@attacker.example", 403),
        ("192.0.2.7", 403),
        ("[", 403),
    ],
)
def test_a_name_that_was_pointed_at_this_machine_is_refused(serve, host, status):
    """DNS rebinding: a page's own host name, resolved to 127.0.0.1, gets nothing."""
    assert status == serve().get("/", Host=host)[0]


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("127.0.0.1", 200),
        ("192.0.2.7:9999", 200),
        ("[fe80::1]", 200),
        ("workstation.local", 200),
        (socket.gethostname(), 200),
        ("attacker.example", 403),
        ("workstation.local.attacker.example", 403),
        ("", 403),
    ],
)
def test_on_a_network_only_names_that_nobody_far_away_can_own_are_answered(serve, host, status):
    """DNS rebinding again, where the port listens on every address: RFC 6762 §3 keeps .local on the link."""
    assert status == serve(host="0.0.0.0").get("/", Host=host)[0]


def test_who_may_not_command_may_not_ask(serve):
    """The list that guards the commands guards this port too: it takes no connection from elsewhere."""

    class Guard:
        def is_allowed(self, host):
            assert host == "127.0.0.1"
            return False

    with pytest.raises(aiohttp.ClientConnectionError):
        serve(access=Guard()).get("/")


def test_one_host_has_so_many_connections_and_an_idle_one_is_closed(serve, monkeypatch):
    """More are closed at once; one that says nothing makes room after a while."""
    monkeypatch.setattr("sidecar.osc.sockets.connections.FIRST_S", 0.3)
    served = serve()
    idle = [socket.create_connection(("127.0.0.1", served.port)) for _ in range(MOST_CONNECTIONS_OF_ONE)]
    beyond = socket.create_connection(("127.0.0.1", served.port))
    for each in (beyond, *idle):
        each.settimeout(30.0)
        assert is_closed(each)

    assert served.get("/?HOST_INFO")[0] == 200


def is_closed(connection):
    """Waits for its end."""
    with contextlib.closing(connection), contextlib.suppress(ConnectionError):
        return connection.recv(1) == b""
    return True


@pytest.mark.parametrize(
    ("origin", "status"),
    [
        ("http://localhost:3000", 200),
        ("http://127.0.0.1", 200),
        ("https://attacker.example", 403),
        ("null", 403),
    ],
)
def test_pages_of_other_origins_are_refused(serve, origin, status):
    """Websockets are not held back by the browser, so the server looks."""
    assert status == serve().get("/", Origin=origin)[0]


def test_no_page_is_allowed_to_read(serve):
    """No header lifts the browser's same-origin rule."""
    with urllib.request.urlopen(serve().url, timeout=10) as response:
        assert [name for name in response.headers if name.lower().startswith("access-control")] == []


def test_a_taken_port_is_said_with_the_option_that_changes_it():
    """One sentence; the other server stays up."""
    with bind("127.0.0.1", 0) as first:
        port = first.getsockname()[1]
        with pytest.raises(NetworkError, match=f"127.0.0.1:{port}: .*--discovery-port"):
            bind("127.0.0.1", port)
        socket.create_connection(("127.0.0.1", port), timeout=10).close()


def test_a_port_that_is_none_is_refused():
    """The option is named with what it takes."""
    with pytest.raises(NetworkError, match="--discovery-port: give 0 to 65535, not 70000"):
        bind("127.0.0.1", 70_000)
