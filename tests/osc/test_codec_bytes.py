from pythonosc.osc_bundle_builder import OscBundleBuilder
from pythonosc.osc_message_builder import OscMessageBuilder

from sidecar.osc import codec

ARGUMENTS = [("i", -7), ("f", -23.4), ("s", ""), ("s", "abc"), ("s", "né−é"), ("b", b"12345"), ("b", b"1234")]


def built(address, arguments):
    builder = OscMessageBuilder(address)
    for tag, value in arguments:
        builder.add_arg(value, tag)
    return builder.build()


def encoded(address, arguments):
    return codec.message(address, "".join(tag for tag, _ in arguments), [value for _, value in arguments])


def test_messages_and_bundles_are_those_of_a_general_library():
    """With arguments of every type, paddings of every length."""
    cases = [("/a" + "b" * n, ARGUMENTS[n:] + ARGUMENTS[:n]) for n in range(len(ARGUMENTS))] + [("/x", [])]
    bundle = OscBundleBuilder(1_764_468_000.123)
    for case in cases[:3]:
        bundle.add_content(built(*case))

    assert [encoded(*case).dgram for case in cases] == [built(*case).dgram for case in cases]
    assert [encoded(*case).size for case in cases] == [built(*case).size for case in cases]
    assert [encoded(*case).arguments for case in cases] == [list(built(*case).params) for case in cases]
    assert list(codec.bundles([encoded(*case) for case in cases[:3]], 1_764_468_000.123)) == [
        bundle.build().dgram
    ]
