"""Streams of packets against RFC 1055 and OSC 1.1 (SLIP), and against OSC 1.0, "OSC Packets" (sizes)."""

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.osc.sockets.framing import Sized, Slip, framing

END, ESC, ESC_END, ESC_ESC = 0xC0, 0xDB, 0xDC, 0xDD  # RFC 1055, "Protocol"


def test_a_slip_frame_is_escaped_as_the_standard_says():
    """RFC 1055: END becomes ESC ESC_END, ESC becomes ESC ESC_ESC; OSC 1.1 has an END on both sides."""
    assert bytes([END, 1, ESC, ESC_END, ESC, ESC_ESC, 2, END]) == Slip(9).frame(bytes([1, END, ESC, 2]))


def test_a_size_stands_in_front_of_its_packet():
    """OSC 1.0: an int32 that gives the size of the packet, then the packet."""
    assert struct.pack(">i", 3) + b"abc" == Sized(9).frame(b"abc")


@pytest.mark.parametrize("kind", [Slip, Sized])
@settings(max_examples=200, deadline=None, derandomize=True)
@given(packets=st.lists(st.binary(min_size=1, max_size=40), max_size=6), step=st.integers(1, 50))
def test_a_stream_gives_back_what_went_in_however_it_is_cut(kind, packets, step):
    """TCP keeps the bytes and not their grouping."""
    made = kind(100)
    stream = b"".join(map(made.frame, packets))
    heard = [p for at in range(0, len(stream), step) for p in made.feed(stream[at : at + step])]

    assert packets == heard


def test_the_first_byte_tells_which_it_is():
    """A size is less than 16 MiB; SLIP begins with END, or with the packet where the sender saves it."""
    for packet in (b"/sidecar/reset\0\0,\0\0\0", b"#bundle\0" + bytes(8)):
        assert isinstance(framing(Sized(99).frame(packet), 99), Sized)
        assert isinstance(framing(Slip(99).frame(packet), 99), Slip)
        assert isinstance(framing(packet, 99), Slip)


def test_a_slip_frame_that_is_too_long_or_broken_costs_only_itself():
    """The next END begins anew; what came before and after is heard."""
    made = Slip(8)
    stream = made.frame(b"one") + made.frame(b"x" * 9) + bytes([END, ESC, 1, END]) + made.frame(b"two")

    assert list(made.feed(stream)) == [b"one", None, None, b"two"]


@pytest.mark.parametrize("size", [17, 2**24, 2**31, 2**32 - 1])
def test_a_size_that_cannot_be_ends_it(size):
    """Too large, or negative to who reads it as the specification does: nothing after it can be trusted."""
    made = Sized(16)

    assert list(made.feed(made.frame(b"one") + size.to_bytes(4, "big") + b"more")) == [b"one", None]


@pytest.mark.parametrize("kind", [Slip, Sized])
@settings(max_examples=200, deadline=None, derandomize=True)
@given(pieces=st.lists(st.binary(max_size=60), max_size=20))
def test_no_stream_makes_it_keep_more_than_one_packet(kind, pieces):
    """Whatever arrives, packets are within the largest size and nothing is raised."""
    made = kind(16)
    for piece in pieces:
        assert all(packet is None or len(packet) <= 16 for packet in made.feed(piece))
        assert len(made._begun) <= 4 + 16
