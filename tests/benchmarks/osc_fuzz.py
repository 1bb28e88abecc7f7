"""200,000 hostile packets, the same in each run: directly into a port, then over real sockets. Run on demand.

Half of them come as datagrams and half as SLIP frames, over sockets as fast as they go. Meanwhile readings
leave 25 times a second. Wanted: no exception, no missed reading, no growing memory, and a sound command at
the end that is accepted. Ends with exit code 1 where one of these fails. Takes some four minutes, because
streams are read no faster than the allowance.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import logging
import multiprocessing
import random
import resource
import select
import socket
import sys
import threading
import time
import tracemalloc
from collections import deque
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "osc"))

from hostile import hostile_packet

from sidecar.model.commands import Command, Mark
from sidecar.model.readings import Reading
from sidecar.model.snapshot import Snapshot, Target
from sidecar.osc import codec
from sidecar.osc.access import AccessPolicy
from sidecar.osc.publisher import Publisher
from sidecar.osc.server import OscServer
from sidecar.osc.sockets.framing import Slip
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.run.event_loop import EventLoop
from sidecar.settings.goals import load_goal

RATE_HZ = 25.0
SLIP = Slip(16_384)
LAST, LAST_ANSWER = codec.message("/sidecar/drops/slow", "", []).dgram, b"/sidecar/drops/slow"
MARK = codec.message("/sidecar/mark", "s", ["the end"]).dgram


class Nobody:
    """An asker that forgets its answers."""

    key = host = "127.0.0.1"
    status = Target("unreached")

    def send(self, packet: bytes) -> None:
        pass


def snapshot(number: int) -> Snapshot:
    return Snapshot(transport="measuring", goal=load_goal("r128"), reading=Reading(seconds=float(number)))


def straight(count: int) -> bool:
    """Into the reception itself, so that not even the allowance keeps anything from the parser."""
    outbox = Publisher()
    outbox.offer(snapshot(0), 0.0, 0.0)
    reception = OscServer(AccessPolicy(), outbox, update_hz=RATE_HZ)
    accepted = 0

    def submit(_command: Command) -> None:
        nonlocal accepted
        accepted += 1

    reception.submit = submit
    chance, peer = random.Random(1), Nobody()
    slowest_s, sizes = 0.0, []
    tracemalloc.start()
    for number in range(count):
        packet = hostile_packet(chance)
        began_s = time.thread_time()
        if number % 2:
            reception.receive_packet(packet, peer, number * 0.1)
        else:
            for one in SLIP.feed(SLIP.frame(packet) if chance.random() < 0.5 else packet + b"\xc0"):
                if one is not None:
                    reception.receive_packet(one, peer, number * 0.1)
        slowest_s = max(slowest_s, time.thread_time() - began_s)
        if number % (count // 4) == count // 4 - 1:
            gc.collect()
            sizes.append(tracemalloc.get_traced_memory()[0] / 1024)
    tracemalloc.stop()
    print(f"straight: {count} packets, {accepted} accepted, dropped {dict(reception.drops.counts)}")
    print(
        f"  slowest packet {slowest_s * 1000:.1f} ms with memory traced; KiB held at each quarter:", end=" "
    )
    print(", ".join(f"{size:.0f}" for size in sizes))
    return sizes[-1] < sizes[0] + 64


def flood_datagrams(address: tuple[str, int], count: int) -> None:
    chance = random.Random(2)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        for number in range(count):
            sender.sendto(hostile_packet(chance), address)
            if number % 50 == 0:
                time.sleep(0.002)  # else the kernel drops most before the port sees them


def flood_frames(address: tuple[str, int], count: int) -> None:
    chance = random.Random(3)
    with socket.create_connection(address) as sender:
        sender.setblocking(False)
        stream = b"".join(SLIP.frame(hostile_packet(chance)) for _ in range(count)) + SLIP.frame(LAST)
        end_s, answers = time.monotonic() + count / 300, b""
        while LAST_ANSWER not in answers and time.monotonic() < end_s:
            select.select([sender], [sender] if stream else [], [], 1.0)
            with contextlib.suppress(BlockingIOError):
                stream = stream[sender.send(stream) :]
            with contextlib.suppress(BlockingIOError):
                answers = answers[-100:] + sender.recv(65_536)


def receive(target: socket.socket, came_s: dict[float, float]) -> None:
    """Notes when each reading comes, until nothing does for a second."""
    with contextlib.suppress(TimeoutError):
        while True:
            for address, values in codec.parse(target.recv(65_535)):
                if address == "/sidecar/seconds":
                    came_s.setdefault(values[0], time.monotonic())


def over_sockets(count: int) -> bool:
    """As anybody may send them, while a target counts its readings."""
    faults: list[Any] = []
    asked: deque[Command] = deque(maxlen=1)
    with EventLoop() as engine, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as target:
        engine._loop.set_exception_handler(lambda _loop, context: faults.append(context))
        target.bind(("127.0.0.1", 0))
        target.settimeout(1.0)
        port = OscPort([], update_hz=RATE_HZ)
        udp, tcp = bind("127.0.0.1", 0), bind("127.0.0.1", 0, kind=socket.SOCK_STREAM)
        address, stream_address = udp.getsockname(), tcp.getsockname()
        engine.run(port.open(udp, asked.append, tcp))
        target.sendto(codec.message("/sidecar/watch", "s", ["/sidecar/seconds"]).dgram, address)
        target.recv(65_535)
        floods = [
            multiprocessing.Process(target=flood_datagrams, args=(address, count // 2)),
            multiprocessing.Process(target=flood_frames, args=(stream_address, count // 2)),
        ]
        came_s: dict[float, float] = {}
        receiver = threading.Thread(target=receive, args=(target, came_s), daemon=True)
        receiver.start()
        began_s, offered_s, memory = time.monotonic(), [], []
        for flood in floods:
            flood.start()
        while any(flood.is_alive() for flood in floods):
            time.sleep(max(0.0, began_s + len(offered_s) / RATE_HZ - time.monotonic()))
            engine.soon(port.offer, snapshot(len(offered_s)))
            offered_s.append(time.monotonic())
            if len(offered_s) % 250 == 0:
                target.sendto(codec.message("/sidecar/watch", "", []).dgram, address)
                memory.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        flooded_s = time.monotonic() - began_s
        time.sleep(3.0)
        with socket.create_connection(stream_address) as caller:
            caller.sendall(SLIP.frame(MARK))
            time.sleep(1.0)
        drops = dict(port._osc_server.drops.counts)
        engine.run(port.close())
        receiver.join(5.0)
    late_s = sorted(came_s[n] - offered_s[int(n)] for n in came_s)
    got, number = len(came_s), len(offered_s)
    is_carried_out = Mark("the end") in asked
    print(f"sockets: {count} packets in {flooded_s:.0f} s; dropped {drops}")
    print(f"  readings arrived {got} of {number}, at {number / flooded_s:.1f} a second")
    print(
        f"  after the offer: median {late_s[len(late_s) // 2] * 1000:.1f} ms, most {late_s[-1] * 1000:.0f} ms"
    )
    print(f"  highest memory so far, MiB, every ten seconds: {', '.join(f'{m:.0f}' for m in memory)}")
    print(f"  exceptions: {len(faults)}; the command at the end was accepted: {is_carried_out}")
    return not faults and got >= 0.99 * number and is_carried_out


if __name__ == "__main__":
    logging.disable(logging.WARNING)
    multiprocessing.set_start_method("spawn")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--packets", type=int, default=200_000)
    options = parser.parse_args()
    is_well = straight(options.packets)
    is_well &= over_sockets(options.packets)
    sys.exit(0 if is_well else 1)
