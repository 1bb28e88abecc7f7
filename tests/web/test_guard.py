"""Who may look at the screen in a browser, by a request's headers alone. Addresses are those of RFC 5737."""

import pytest

from sidecar.web.guard import Guard

TOKEN = "k7-very-long-and-random"


@pytest.mark.parametrize("host", ["127.0.0.1:9141", "localhost:9141", "[::1]:9141", "127.0.0.1"])
def test_this_machine_is_let_in_by_its_own_names(host):
    """On loopback no token is asked for; a page of that origin may open its websocket."""
    guard = Guard("127.0.0.1", "")

    assert guard.refusal(host, None, (), is_channel=False) == ""
    assert guard.refusal(host, f"http://{host}", (), is_channel=True) == ""


@pytest.mark.parametrize(
    "host", ["evil.example:9141", "127.0.0.1.evil.example", "studio.local", "192.0.2.7", "", "[", "x@y"]
)
def test_names_that_somebody_far_away_can_own_are_refused(host):
    """DNS rebinding: the name is the page's own, the address is this machine's. On loopback nothing else
    than its own names can be meant."""
    assert "is not this machine" in Guard("127.0.0.1", "").refusal(host, None, (), is_channel=False)


@pytest.mark.parametrize("host", ["evil.example:9141", "local", "notlocal", ""])
def test_on_a_network_foreign_names_are_refused_whatever_the_token(host):
    """An address, this machine's name and ``.local`` are let in, nothing else."""
    guard = Guard("0.0.0.0", TOKEN)

    assert "is not this machine" in guard.refusal(host, None, (TOKEN,), is_channel=False)
    for known in ("192.0.2.7:9141", "studio.local:9141", "127.0.0.1:9141"):
        assert guard.refusal(known, None, (TOKEN,), is_channel=False) == ""


@pytest.mark.parametrize(
    "origin",
    [
        *("http://evil.example", "http://127.0.0.1:8000", "null", "", "http://127.0.0.1:9141.evil.example"),
        *("file://127.0.0.1:9141", "http://localhost:9141", None),
    ],
)
def test_a_websocket_of_another_page_is_refused(origin):
    """Websockets know no same-origin policy, and every browser names the origin: without one, none either."""
    fault = Guard("127.0.0.1", "").refusal("127.0.0.1:9141", origin, (), is_channel=True)

    assert "other origins" in fault


@pytest.mark.parametrize("shown", [(), ("",), ("wrong",), (TOKEN[:-1],), (TOKEN + "x",), ("\u2212", "")])
def test_without_the_token_nobody_looks(shown):
    """Neither none nor a part of it nor more than it."""
    assert "token" in Guard("0.0.0.0", TOKEN).refusal("192.0.2.7", None, shown, is_channel=False)


def test_the_token_may_come_from_the_link_or_from_the_cookie():
    """Either is enough; a wrong one beside it does no harm."""
    guard = Guard("0.0.0.0", TOKEN)

    for shown in ((TOKEN, ""), ("", TOKEN), ("old", TOKEN)):
        assert guard.refusal("192.0.2.7", "http://192.0.2.7", shown, is_channel=True) == ""
