"""Packets that no receiver should trust: noise, and sound packets cut, doubled or with bytes changed."""

from sidecar.osc import codec

MEANINGFUL = b"*?[]{}!-,/#sfiab\x00\xff\xc0\xdb"

SEEDS = [
    codec.message("/sidecar/watch", "sf", ["alert", 5.0]).dgram,
    codec.message("/sidecar/fader", "f", [-3.0]).dgram,
    codec.message("/sidecar/stem/fader", "sf", ["voice", -3.0]).dgram,
    codec.message("/sidecar/{alert,goal}/[a-z]*", "", []).dgram,
    codec.message("/sidecar/reset", "i", [1]).dgram,
    *codec.bundles(
        [codec.message("/sidecar/mark", "s", ["a"]), codec.message("/sidecar/watch", "", [])], 1.0
    ),
]


def hostile_packet(chance):
    """The next of an endless, seeded row: a quarter is noise, the rest a mutation of something sound."""
    if chance.randrange(4) == 0:
        return chance.randbytes(chance.randrange(64))
    return mutated(chance, chance.choice(SEEDS))


def mutated(chance, packet):
    """Cut, lengthened or with bytes changed, most often to such as mean something; sometimes as it was."""
    data = bytearray(packet)
    for _ in range(chance.randrange(4)):
        at = chance.randrange(len(data)) if data else 0
        match chance.randrange(8):
            case 0:
                del data[at:]
            case 1:
                data[at:at] = chance.randbytes(4 * chance.randrange(3))
            case 2:
                data += data[at:]
            case 3:
                data[at : at + 1] = chance.randbytes(1)
            case _:
                data[at : at + 1] = bytes([chance.choice(MEANINGFUL)])
    return bytes(data)
