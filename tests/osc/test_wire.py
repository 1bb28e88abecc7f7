"""OSC packets against the OSC 1.0 specification (2002): alignment, type tags, bundles, time tags."""

import math
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidecar.osc import codec

NTP_OFFSET_S = 2_208_988_800  # OSC 1.0: time tags count from 1900-01-01


def test_a_message_is_laid_out_as_the_specification_draws_it():
    """Address, type tags and a big-endian float, each padded to four bytes (OSC 1.0, Messages)."""
    expected = b"/sidecar/range\0\0" + b",f\0\0" + struct.pack(">f", 6.5)

    assert codec.message("/sidecar/range", "f", [6.5]).dgram == expected


def test_a_star_repeats_the_tag_before_it():
    """One float a channel, however many channels there are."""
    built = codec.message("/p", "f*", [1.0, 2.0, 3.0]).dgram

    assert b"/p\0\0,fff\0\0\0\0" + struct.pack(">fff", 1, 2, 3) == built


@pytest.mark.parametrize(
    ("value", "sent"),
    [(-math.inf, -120.0), (math.nan, -120.0), (math.inf, 120.0), (-129.4, -120.0), (-119.9, -119.9)],
)
def test_nothing_on_the_wire_is_infinite_or_nan(value, sent):
    """A receiver that draws what it is sent never meets a number that cannot be drawn."""
    assert struct.pack(">f", sent) == codec.message("/a", "f", [value]).dgram[-4:]


def test_a_bundle_carries_its_time_as_the_specification_counts_it():
    """64-bit fixed point since 1900 (OSC 1.0, Time Tags), then size and element."""
    element = codec.message("/a", "i", [1])
    (built,) = codec.bundles([element], 1_000_000_000.5)

    seconds, fraction = struct.unpack(">II", built[8:16])
    assert built[:8] == b"#bundle\0"
    assert (seconds, fraction) == (1_000_000_000 + NTP_OFFSET_S, 1 << 31)
    assert (element.size, element.dgram) == (struct.unpack(">i", built[16:20])[0], built[20:])


def test_bundles_stay_under_the_size_that_every_path_carries():
    """More than fits goes into further datagrams, in order and with nothing lost."""
    messages = [codec.message(f"/value/{n}", "sf", ["x" * 40, n]) for n in range(100)]
    built = list(codec.bundles(messages, 0.0))

    assert max(len(datagram) for datagram in built) <= 1200
    assert [f"/value/{n}" for n in range(100)] == [a for d in built for a, _ in codec.parse(d)]


def test_what_is_sent_is_what_is_read():
    """Sent and parsed again, address, types and values are the same."""
    built = codec.message("/a/b", "sfi", ["text", 0.5, 7]).dgram

    assert codec.parse(built) == [("/a/b", ["text", 0.5, 7])]


HOSTILE = {
    "negative element size": b"#bundle\0" + bytes(8) + struct.pack(">i", -4),
    "element larger than the packet": b"#bundle\0" + bytes(8) + struct.pack(">i", 64) + b"/a\0\0",
    "address without an end": b"/abc",
    "no type tags where arguments follow": b"/a\0\0" + bytes(4),
    "a type tag that is not known": b"/a\0\0,Si\0text" + bytes(8),
    "a float cut short": b"/a\0\0,f\0\0\0\0",
    "a number more than the tags tell of": b"/a\0\0,f\0\0" + bytes(8),
    "a blob of negative size": b"/a\0\0,b\0\0" + struct.pack(">i", -4) + bytes(8),
    "a blob larger than the packet": b"/a\0\0,b\0\0" + struct.pack(">i", 64) + bytes(8),
    "address that is not ASCII": b"/\xff\0\0,\0\0\0",
    "neither message nor bundle": b"hello",
    "empty": b"",
    "text without an end": b"/a\0\0,s\0\0abcd",
}


@pytest.mark.parametrize("datagram", HOSTILE.values(), ids=HOSTILE.keys())
def test_hostile_datagrams_are_refused_with_a_reason(datagram):
    """Each of these hangs or breaks a trusting parser; here each is a ValueError with words."""
    with pytest.raises(ValueError, match=r"\w"):
        codec.parse(datagram)


def test_every_type_of_the_specification_gets_through():
    """OSC 1.0's four, and of the others those that surfaces are known to send, each in its size."""
    arguments = (
        struct.pack(">if", 1, 2.0) + b"abc\0" + struct.pack(">i", 2) + b"xy\0\0" + struct.pack(">qd", 3, 4.0)
    )
    packet = b"/a\0\0,ifsbhdTFN\0\0" + arguments

    assert codec.parse(packet) == [("/a", [1, 2.0, "abc", b"xy", 3, 4.0, True, False, None])]


def test_a_message_without_type_tags_is_one_without_arguments():
    """OSC 1.0 asks receivers to be robust where old senders leave the type tags out."""
    assert codec.parse(b"/sidecar/pause\0\0") == [("/sidecar/pause", [])]


def test_whole_numbers_stay_within_what_the_tag_can_carry():
    """A count that has run for long is sent as the largest there is, and nothing breaks."""
    assert struct.pack(">i", 2**31 - 1) == codec.message("/a", "i", [2**40]).dgram[-4:]


def test_bundles_within_bundles_end_somewhere():
    """A bundle nested deeper than four is refused before anything recurses."""
    packet = codec.message("/a", "", []).dgram
    for _ in range(2000):
        packet = b"#bundle\0" + bytes(8) + struct.pack(">i", len(packet)) + packet

    with pytest.raises(ValueError, match="shallow"):
        codec.parse(packet)


@pytest.mark.slow
@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.data())
def test_no_mutated_packet_gets_through_as_anything_but_messages_or_a_reason(data):
    """Whatever bytes arrive, the outcome is a list of messages or a ValueError."""
    sound = next(iter(codec.bundles([codec.message("/a/b", "sfi", ["text", 0.5, 7])] * 3, 1.0)))
    packet = bytearray(sound)
    for _ in range(data.draw(st.integers(1, 6))):
        packet[data.draw(st.integers(0, len(packet) - 1))] = data.draw(st.integers(0, 255))
    try:
        messages = codec.parse(bytes(packet))
    except ValueError as error:
        assert str(error)
    else:
        assert all(address.startswith("/") for address, _ in messages)


@pytest.mark.parametrize(("bundles", "is_read"), [(4, True), (5, False)])
def test_bundles_are_read_four_deep_and_no_deeper(bundles, is_read):
    """OSC 1.0 sets no limit; this one keeps the library's recursion short."""
    packet = b"/a\0\0,\0\0\0"
    for _ in range(bundles):
        packet = b"#bundle\0" + bytes(7) + b"\1" + len(packet).to_bytes(4, "big") + packet

    assert is_read == (codec.fault(packet) is None)
