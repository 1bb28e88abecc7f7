"""32 watchers at 25 readings a second, each in full: what arrives, and what it costs. Run as a script.

The port runs with its engine in this process, the receivers in another one, so that their cost is not
counted. The figure that counts is the processor time of this process against the time that passed; snapshots
are made beforehand, and the same number of offers without watchers is measured for comparison.
"""

from __future__ import annotations

import argparse
import multiprocessing
import selectors
import socket
import time
from dataclasses import replace
from multiprocessing.connection import Connection

from sidecar.model.advice import Advice
from sidecar.model.readings import Move, Reading
from sidecar.model.snapshot import Snapshot
from sidecar.osc import codec
from sidecar.osc.sockets.udp import OscPort, bind
from sidecar.run.event_loop import EventLoop
from sidecar.settings.goals import load_goal

PORT = tuple[str, int]


def snapshots(count: int) -> list[Snapshot]:
    goal = load_goal("r128")
    base = Snapshot(transport="measuring", goal=goal)
    return [
        replace(
            base,
            reading=Reading(-20.0 - n % 7, -21.0, -22.5, 5.0, -18.0, -19.0, (-3.0, -4.0), -3.0, -3.5, n / 25),
            advice=Advice("move", Move(-1.0 - n // 25 % 5, -23.0, -24.0, -22.0)),
            beat=n // 25,
        )
        for n in range(count)
    ]


def receive(address: PORT, receivers: int, rate_hz: float, pipe: Connection) -> None:
    """Watches at *receivers* sockets and counts the bundles with readings at each, until asked to end."""
    sockets = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in range(receivers)]
    selector = selectors.DefaultSelector()
    counts = dict.fromkeys(range(receivers), 0)
    for index, each in enumerate(sockets):
        each.bind(("127.0.0.1", 0))
        each.sendto(codec.message("/sidecar/watch", "f", [rate_hz]).dgram, address)
        selector.register(each, selectors.EVENT_READ, index)
    pipe.send(True)
    while not pipe.poll():
        for key, _ in selector.select(0.1):
            datagram = sockets[key.data].recv(65_535)
            counts[key.data] += b"/sidecar/momentary" in datagram
    pipe.send(list(counts.values()))
    for each in sockets:
        each.close()


def measure(receivers: int, rate_hz: float, seconds: float) -> tuple[list[int], int, float, float]:
    """Bundles at each receiver, bundles offered, share of a core, mean lateness of an offer in seconds."""
    made = snapshots(int(seconds * rate_hz))
    with EventLoop() as engine:
        port = OscPort([], update_hz=rate_hz)
        server = bind("127.0.0.1", 0)
        address = server.getsockname()
        engine.run(port.open(server, lambda command: None))
        here, there = multiprocessing.Pipe()
        process = multiprocessing.Process(target=receive, args=(address, receivers, rate_hz, there))
        process.start()
        here.recv()
        time.sleep(0.5)
        began_s, spent_s, late_s = time.monotonic(), time.process_time(), 0.0
        for number, snapshot in enumerate(made):
            wait_s = began_s + number / rate_hz - time.monotonic()
            time.sleep(max(0.0, wait_s))
            late_s += max(0.0, -wait_s)
            engine.soon(port.offer, snapshot)
        time.sleep(0.2)
        share = (time.process_time() - spent_s) / (time.monotonic() - began_s)
        here.send(True)
        counts = here.recv()
        process.join()
        engine.run(port.close())
    return counts, len(made), share, late_s / len(made)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--watchers", type=int, default=32)
    parser.add_argument("--rate", type=float, default=25.0)
    options = parser.parse_args()
    multiprocessing.set_start_method("spawn")
    _, _, idle, _ = measure(0, options.rate, min(10.0, options.seconds))
    counts, offered, share, late_s = measure(options.watchers, options.rate, options.seconds)
    print(f"{options.watchers} watchers, {options.rate:g} readings a second, {options.seconds:g} s")
    print(f"the worst got {100 * min(counts) / offered:.2f} % of {offered} bundles (at least 99 wanted)")
    print(f"{100 * share:.1f} % of one core (at most 10 wanted), {100 * idle:.1f} % without watchers")
    print(f"offers were {late_s * 1000:.2f} ms late on average: how busy the machine was otherwise")
