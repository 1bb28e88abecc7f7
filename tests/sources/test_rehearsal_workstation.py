"""The rehearsed workstation over real UDP sockets."""

import socket
import threading

import pytest
from workstation_peer import PATIENCE_S, SteppedRehearsal, WorkstationPeer

from sidecar.osc import codec
from sidecar.settings.locations import shipped_configs
from sidecar.sources.rehearsal.workstation import SimulatedWorkstation
from sidecar.surfaces.surface import load_surface

SURFACES = sorted((shipped_configs() / "surfaces").glob("*.toml"))


@pytest.fixture(params=SURFACES, ids=lambda path: path.stem)
def surface(request):
    return load_surface(request.param)


@pytest.fixture
def rehearsal():
    return SteppedRehearsal()


@pytest.fixture
def workstation(surface, rehearsal):
    made = SimulatedWorkstation(surface, rehearsal)
    made.start()
    yield made
    made.close()


@pytest.fixture
def peer(surface, workstation):
    made = WorkstationPeer(surface, workstation)
    yield made
    made.close()


def test_whoever_moves_the_fader_first_is_told_where_it_stands(peer, rehearsal):
    """The answer is the fader's real position, not the one that was asked for."""
    peer.send(-6.0)

    assert peer.hear() == pytest.approx(0.0, abs=1e-4)
    assert rehearsal.told.get(timeout=PATIENCE_S) == pytest.approx(-6.0, abs=1e-4)


def test_every_stop_of_the_fader_is_told(peer, rehearsal):
    """Sent 2 dB down it travels half a decibel each 100 ms of programme, and says so each time."""
    peer.send(-2.0)
    heard = peer.hear_until(0.0)[-1:]
    for stop_db in (-0.5, -1.0, -1.5, -2.0):
        rehearsal.play()
        heard.append(peer.hear_until(stop_db)[-1])

    assert heard == pytest.approx([0.0, -0.5, -1.0, -1.5, -2.0], abs=1e-4)


def test_a_ramp_is_followed_to_its_end(peer, rehearsal):
    """Sent a little further in each 100 ms, the fader arrives and its last word is the ramp's end."""
    for tick in range(1, 31):
        peer.send(-0.1 * tick)
        rehearsal.told.get(timeout=PATIENCE_S)
        rehearsal.play()
    heard = peer.hear_until(-3.0)

    assert rehearsal.fader_db == pytest.approx(-3.0, abs=1e-5)
    assert sorted(heard, reverse=True) == heard


@pytest.mark.slow
def test_a_fader_that_cannot_arrive_says_so_again_and_again(peer):
    """While no programme plays the fader stays on its way; the report is repeated, not left at one."""
    peer.send(-2.0)

    assert [peer.hear() for _ in range(3)] == pytest.approx([0.0, 0.0, 0.0], abs=1e-4)


def test_a_hand_on_the_fader_is_told_to_those_who_have_moved_it(peer, rehearsal):
    """Moved in the workstation itself, or by another surface: all surfaces receive it."""
    peer.send(-0.5)
    rehearsal.told.get(timeout=PATIENCE_S)
    rehearsal.play()
    peer.hear_until(-0.5)
    rehearsal.move_fader(0.0)
    rehearsal.play()

    assert peer.hear_until(0.0)


def test_a_second_peer_does_not_silence_the_first(surface, workstation, peer, rehearsal):
    """The one whose fader was moved by another must receive it, or it would go on as if it held it."""
    other = WorkstationPeer(surface, workstation)
    peer.send(0.0)
    peer.hear()
    other.send(-0.5)
    rehearsal.told.get(timeout=PATIENCE_S)
    rehearsal.told.get(timeout=PATIENCE_S)
    rehearsal.play()

    assert peer.hear_until(-0.5)
    assert other.hear_until(-0.5)
    other.close()


@pytest.mark.parametrize(
    ("family", "host"), [(socket.AF_INET, "127.0.0.1"), (socket.AF_INET6, "::1")], ids=["IPv4", "IPv6"]
)
def test_a_peer_that_was_set_up_receives_positions_without_asking(surface, rehearsal, family, host):
    """As in a workstation whose settings name where feedback goes."""
    with socket.socket(family, socket.SOCK_DGRAM) as listener:
        listener.bind((host, 0))
        listener.settimeout(PATIENCE_S)
        workstation = SimulatedWorkstation(surface, rehearsal, peer=listener.getsockname()[:2])
        workstation.start()
        [message] = codec.parse(listener.recv(65_535))
        workstation.close()

    assert surface.feedback(*message).position_db == pytest.approx(0.0, abs=1e-4)


def test_nonsense_is_passed_over(surface, peer, rehearsal):
    """Malformed packets, other addresses and wrong values move nothing and get no answer; what follows is
    obeyed."""
    for datagram in (
        b"",
        b"\xff" * 40,
        b"#bundle\0" + bytes(8) + b"\xff\xff\xff\xfc",
        codec.message("/sidecar/momentary", "f", [-23.0]).dgram,
        codec.message(surface.fader_address, "s", ["-3"]).dgram,
        codec.message(surface.fader_address, "f", [99.0]).dgram,
        codec.message(surface.fader_address, "", []).dgram,
        codec.message(surface.fader_address + "/x", "f", [0.5]).dgram,
    ):
        peer.send_raw(datagram)
    peer.send(-1.0)

    assert rehearsal.told.get(timeout=PATIENCE_S) == pytest.approx(-1.0, abs=1e-4)
    assert rehearsal.told.empty()
    assert peer.hear() == pytest.approx(0.0, abs=1e-4)


def test_one_bad_message_in_a_bundle_costs_only_itself(surface, peer, rehearsal):
    """The fader's message behind it still counts."""
    wrong = codec.message(surface.fader_address, "s", ["loud"])
    peer.send_raw(next(codec.bundles([wrong, surface.message(-1.0)], 0.0)))

    assert rehearsal.told.get(timeout=PATIENCE_S) == pytest.approx(-1.0, abs=1e-4)


def test_a_fader_sent_into_silence_stops_at_the_bottom(peer, rehearsal):
    """The rehearsed fader ends at -60 dB, and the workstation does not wait for it to get any further."""
    peer.send(float("-inf"))

    assert rehearsal.told.get(timeout=PATIENCE_S) == pytest.approx(-60.0, abs=1e-3)


def test_closing_ends_the_thread_and_frees_the_port(surface, rehearsal):
    """Even under a stream of messages to a peer that has gone; closing twice is harmless."""
    workstation = SimulatedWorkstation(surface, rehearsal)
    workstation.start()
    peer = WorkstationPeer(surface, workstation)
    for _ in range(50):
        peer.send(-1.0)
    peer.close()
    workstation.close()
    workstation.close()

    assert "workstation" not in [thread.name for thread in threading.enumerate()]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as again:
        again.bind(workstation.address)


def test_a_workstation_that_was_never_started_can_be_closed(surface, rehearsal):
    """A run that fails before its start leaves nothing behind."""
    workstation = SimulatedWorkstation(surface, rehearsal)
    workstation.close()

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as again:
        again.bind(workstation.address)
