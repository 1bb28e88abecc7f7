"""Who may speak, and how much. Addresses are those that RFC 5737 and RFC 3849 reserve for examples."""

import pytest

from sidecar.errors import NetworkError
from sidecar.osc.access import ANSWERS_AT_ONCE, ANSWERS_HZ, PACKETS_AT_ONCE, PACKETS_HZ, AccessPolicy, network


@pytest.mark.parametrize(
    ("host", "is_let_in"),
    [
        ("127.0.0.1", True),
        ("127.8.8.8", True),
        ("::1", True),
        ("::ffff:127.0.0.1", True),
        ("192.0.2.20", True),
        ("::ffff:192.0.2.20", True),
        ("198.51.100.77", True),
        ("2001:db8::5", True),
        ("192.0.2.21", False),
        ("198.51.101.1", False),
        ("2001:db9::5", False),
        ("::ffff:192.0.2.21", False),
        ("not an address", False),
        ("", False),
    ],
)
def test_this_machine_and_the_list_are_let_in_and_nobody_else(host, is_let_in):
    """Also where a socket for both families wraps an IPv4 address."""
    allowed = [network("192.0.2.20"), network("198.51.100.0/24"), network("2001:db8::/32")]

    assert is_let_in == AccessPolicy(allowed).is_allowed(host)


@pytest.mark.parametrize("host", ["192.0.2.7", "::ffff:192.0.2.7"])
def test_the_workstation_is_known_on_a_socket_for_both_families(host):
    """Bound to ``::`` a socket wraps the workstation's IPv4 address (RFC 4291 §2.5.5.2)."""
    access = AccessPolicy(workstation="192.0.2.7")

    assert (access.is_workstation(host), access.is_allowed(host)) == (True, False)
    assert not access.is_workstation("192.0.2.8")
    assert not AccessPolicy().is_workstation(host)


def test_the_zone_of_a_link_local_address_is_not_part_of_it():
    """RFC 4007: the zone says which cable, not who."""
    assert AccessPolicy([network("fe80::/10")]).is_allowed("fe80::1%eth0")


@pytest.mark.parametrize("text", ["everyone", "192.0.2.0/33", "192.0.2.1/24", "", "192.0.2.20:9000"])
def test_what_is_no_address_and_no_network_is_refused(text):
    """The message shows both; a network with host bits set is a slip, not a network."""
    with pytest.raises(NetworkError, match=r"\(192\.168\.1\.20\) or a network \(192\.168\.1\.0/24\)"):
        network(text)


def test_a_sender_has_so_much_at_once_and_so_much_a_second():
    """After the burst the rate holds, and a pause fills it up to the burst and not beyond."""
    access = AccessPolicy()

    def passed(at_s):
        return sum(access.has_room_for("192.0.2.1", 100, at_s) for _ in range(3 * int(PACKETS_AT_ONCE)))

    assert passed(0.0) == PACKETS_AT_ONCE
    assert passed(1.0) == PACKETS_HZ
    assert passed(1000.0) == PACKETS_AT_ONCE


def test_one_sender_does_not_use_up_what_another_has():
    """Each host has its own allowance, for packets and for answers."""
    access = AccessPolicy()
    while access.has_room_for("192.0.2.1", 100, 0.0):
        pass

    assert access.has_room_for("192.0.2.2", 100, 0.0)
    assert sum(access.may_be_answered("192.0.2.1", 0.0) for _ in range(1000)) == ANSWERS_AT_ONCE
    assert sum(access.may_be_answered("192.0.2.1", 1.0) for _ in range(1000)) == ANSWERS_HZ


def test_large_packets_take_more():
    """A bundle of 8 KB holds some hundred messages."""
    access = AccessPolicy()
    count = sum(access.has_room_for("192.0.2.1", 8_192, 0.0) for _ in range(1000))

    assert count == PACKETS_AT_ONCE // 33


def test_a_clock_that_steps_back_gives_nothing_away():
    """No allowance is made of a time that did not pass."""
    access = AccessPolicy()
    while access.has_room_for("192.0.2.1", 0, 100.0):
        pass

    assert not access.has_room_for("192.0.2.1", 0, 50.0)


def test_senders_without_number_take_a_bounded_place():
    """Forged addresses do not fill the memory."""
    access = AccessPolicy()
    for number in range(10_000):
        access.has_room_for(f"10.0.{number // 256}.{number % 256}", 0, 0.0)

    assert len(access._packets) <= 256
