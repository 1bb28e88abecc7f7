"""Handles each packet that arrives: checks access, parses, executes or refuses, answers. No sockets here.

A sender without access gets no answer, so that a forged source address cannot direct answers at a third
party; any other sender gets the reason of a refusal. Every drop is counted.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from sidecar.model.commands import Arm, Command, Disarm, FaderAt, StemFaderAt
from sidecar.model.snapshot import Event, FaderTouch
from sidecar.osc import codec
from sidecar.osc.access import LARGEST_PACKET, AccessPolicy
from sidecar.osc.address_proof import AddressProofs
from sidecar.osc.backlog import Backlog
from sidecar.osc.drops import DropCounters, quoted
from sidecar.osc.patterns import is_pattern
from sidecar.osc.publisher import Publisher
from sidecar.osc.requests import (
    BacklogRequest,
    Proof,
    Question,
    Refusal,
    RequestParser,
    ServiceRequest,
    Watch,
)
from sidecar.osc.table.addresses import ROOT
from sidecar.osc.table.exchange import ANSWERS, DropReason, drop_path
from sidecar.osc.watches import LEASE_S, Peer, TooManyWatches, Watches
from sidecar.osc.workstation import Workstation

_ANSWER_TAGS = {answer.path: answer.tags for answer in ANSWERS}

_UNHELD = "Disarmed: the connection that armed it has ended."

_Served = Question | Watch | Proof | ServiceRequest

Submit = Callable[[Command], Future[str] | None]
"""Takes a command and returns at once; the future, where there is one, holds why it failed, or nothing."""
Later = Callable[[Callable[[float], None]], None]
"""Schedules a call on the loop, from any thread; the argument of that call is the loop's time."""


@dataclass(slots=True)
class _Packet:
    """State of one packet: all its questions are answered after all its commands, whatever their order."""

    commands: int = 0
    """Number of those without an outcome yet."""
    questions: list[tuple[Question, str]] = field(default_factory=list)


class OscServer:
    """Handles packets from peers over UDP or TCP. Used on the engine's loop only."""

    def __init__(
        self,
        access: AccessPolicy,
        publisher: Publisher,
        *,
        update_hz: float,
        link: Workstation | None = None,
        root: str = ROOT,
    ) -> None:
        """update_hz: readings a second where a watcher names no rate, and the most there are.
        link: the workstation's feedback addresses and its host; nothing else of it is accepted.
        root: what the sidecar's own addresses begin with.
        """
        self.drops = DropCounters()
        self.watchers = Watches(publisher)
        self.submit: Submit | None = None
        self.report_fader: Callable[[FaderAt | StemFaderAt | FaderTouch], None] | None = None
        """Called with each fader position, and each touch, that the workstation reports."""
        self.stranger = ""
        """A sentence on the last other sender to the fader feedback address; empty for none."""
        self.later: Later = lambda call: call(time.monotonic())
        self.archive: Backlog | None = None
        """Source of the earlier history, events and goals; None where there is none."""
        self._access = access
        self._publisher = publisher
        self._update_hz = update_hz
        self._link = link
        self._disarm = codec.message(f"{root}/disarm", "", []).dgram
        self._armed_by: Hashable = None
        """Key of the connection or watch that last armed the fader; None for a plain datagram."""
        self._root = root
        self._parser = RequestParser(root)
        self._proofs = AddressProofs()
        self._answers = frozenset(root + path for path in _ANSWER_TAGS)

    def news(self) -> Sequence[Event]:
        """Returns the events since the last call; call it with each snapshot."""
        return self.archive.news() if self.archive else ()

    def is_disarm(self, packet: bytes) -> bool:
        """Whether a packet is ``/disarm``, which is exempt from rate limits and queues."""
        return bool(packet == self._disarm)

    def receive_packet(self, packet: bytes, peer: Peer, now_s: float) -> None:
        """Handles one packet with any content; never raises."""
        try:
            self._handle_packet(packet, peer, now_s)
        except Exception as error:  # a defect of ours that one packet triggers must not stop the next one
            self._drop("broken", peer, f"the packet caused an internal error ({error!r})", now_s)

    def _handle_packet(self, packet: bytes, peer: Peer, now_s: float) -> None:
        is_allowed = self._access.is_allowed(peer.host)
        if not is_allowed and not self._access.is_workstation(peer.host):
            self._drop("sender", peer, "this sender is not allowed: see --osc-allow", now_s)
            return
        if len(packet) > LARGEST_PACKET:
            self._drop("size", peer, f"{len(packet)} bytes, where {LARGEST_PACKET} are the most", now_s)
            return
        is_urgent = is_allowed and self.is_disarm(packet)
        if not is_urgent and not self._access.has_room_for(peer.host, len(packet), now_s):
            self._drop("rate", peer, "too many packets at once", now_s)
            return
        try:
            messages = codec.parse(packet)
        except ValueError as error:
            self._drop("broken", peer, str(error), now_s)
            return
        parts = _Packet()
        for address, arguments in messages:
            if self._link and not (address.startswith(self._root + "/") or is_pattern(address)):
                self._receive_feedback(self._link, address, arguments, peer, now_s)
            elif is_allowed:
                self._receive_message(address, arguments, peer, now_s, parts)
            else:
                self._drop("sender", peer, f"the workstation may not send commands: {address}", now_s)
        if not parts.commands:
            self._answer_questions(parts, peer, now_s)

    def _receive_feedback(
        self, link: Workstation, address: str, arguments: list[Any], peer: Peer, now_s: float
    ) -> None:
        """Passes on a report of a fader. Other feedback is ignored and not counted as a drop: a workstation
        sends much of it. No answer is sent: a workstation is not expected to parse one."""
        if not link.peer.is_sender(peer.key):
            self._note_stranger(link, address, peer, now_s)
            return
        try:
            report = link.feedback(address, arguments)
        except ValueError as error:
            self._drop("argument", peer, str(error), now_s)
            return
        if report and self.report_fader:
            self.report_fader(report)

    def _note_stranger(self, link: Workstation, address: str, peer: Peer, now_s: float) -> None:
        """Notes another sender of feedback: any program on this machine can send to the port, so feedback is
        accepted from the workstation's address only."""
        if address == link.feedback_address:
            self.stranger = (
                f"{address} arrived from {peer.status.name} and was ignored. The workstation is at "
                f"{link.peer}. If it sends from another port, give --surface-from."
            )
        self._drop("sender", peer, f"{address} is accepted from the workstation only", now_s)

    def _receive_message(
        self, address: str, arguments: list[Any], peer: Peer, now_s: float, packet: _Packet
    ) -> None:
        if address in self._answers:  # two sidecars that answer answers would do so without end
            self._drop("address", peer, f"{address} is an answer", now_s)
            return
        is_urgent = address == self._root + "/disarm"
        if not is_urgent and not self._access.may_say(peer.host, now_s):
            self._drop("rate", peer, "too many messages at once", now_s)
            return
        try:
            asked = self._parser.request(address, arguments)
            if isinstance(asked, Command):
                self._note_holder(asked, peer, now_s)
                self._pass_on(asked, address, peer, packet)
            elif isinstance(asked, Question):
                packet.questions.append((asked, address))
            elif isinstance(asked, BacklogRequest):
                self._send_backlog(asked, address, peer, now_s)
            elif asked:
                self._serve(asked, address, peer, now_s)
        except Refusal as refusal:
            self._refuse(refusal, address, peer, now_s)

    def end(self, peer: Peer) -> None:
        """Ends the watch of *peer*; disarms a fader that it armed."""
        self.watchers.cancel(peer)
        if self._armed_by is not None and peer.key == self._armed_by:
            self._disarm_unheld()

    def expire(self, now_s: float) -> None:
        """Ends watches whose lease is over, and disarms a fader that was armed by such a watcher."""
        self.watchers.expire(now_s)
        if isinstance(self._armed_by, tuple) and not self.watchers.is_known(self._armed_by):
            self._disarm_unheld()

    def _note_holder(self, asked: Command, peer: Peer, now_s: float) -> None:
        """Notes the connection or watch of an arm, whose end disarms; a plain datagram has none."""
        if isinstance(asked, Arm):
            is_lasting = not isinstance(peer.key, tuple) or self.watchers.holds(peer, now_s)
            self._armed_by = peer.key if is_lasting else None

    def _disarm_unheld(self) -> None:
        self._armed_by = None
        if self.submit:
            self.submit(Disarm(_UNHELD))

    def _refuse(self, refusal: Refusal, address: str, peer: Peer, now_s: float) -> None:
        self._drop(refusal.reason, peer, str(refusal), now_s)
        if self._may_answer(peer, now_s):
            peer.send_packet(self._answer("/error", quoted(address), quoted(str(refusal))))

    def _pass_on(self, command: Command, address: str, peer: Peer, packet: _Packet) -> None:
        """Passes a command to the engine; where it fails, its sender gets ``/error`` with the reason."""
        outcome = self.submit(command) if self.submit else None
        if outcome is None:
            return
        packet.commands += 1
        settle = partial(self._settle, outcome, address, peer, packet)
        outcome.add_done_callback(lambda _outcome: self.later(settle))

    def _settle(self, outcome: Future[str], address: str, peer: Peer, packet: _Packet, now_s: float) -> None:
        why = outcome.result()
        if why:
            self._refuse(Refusal("failed", why), address, peer, now_s)
        packet.commands -= 1
        if not packet.commands:
            self._answer_questions(packet, peer, now_s)

    def _answer_questions(self, packet: _Packet, peer: Peer, now_s: float) -> None:
        for question, asked_at in packet.questions:
            try:
                self._serve(question, asked_at, peer, now_s)
            except Refusal as refusal:
                self._refuse(refusal, asked_at, peer, now_s)
        packet.questions.clear()

    def _serve(
        self, asked: Question | Watch | Proof | ServiceRequest, address: str, peer: Peer, now_s: float
    ) -> None:
        """Answers a request. Raises Refusal where it cannot be met."""
        if not self._may_answer(peer, now_s):
            return
        if isinstance(asked, Question):
            self._send_values(asked, address, peer, now_s)
            return
        if isinstance(asked, Proof):
            if not self._proofs.prove(peer.key, asked.number, now_s):
                raise Refusal("argument", "that is not the number last sent to this address with /verify")
            return
        if asked == "unwatch":
            self.end(peer)
            peer.send_packet(self._answer("/watching", 0.0, 0.0, 0))
            return
        if isinstance(asked, Watch):
            if not self._is_proven(peer, now_s):
                self._ask_for_proof(peer, now_s)
                return
            rate_hz = min(asked.rate_hz or self._update_hz, self._update_hz)
            try:
                line = self.watchers.grant(peer, asked.selection, rate_hz, now_s)
            except TooManyWatches as error:
                raise Refusal("full", str(error)) from error
            peer.send_packet(
                self._answer("/watching", LEASE_S, 1.0 / line.period_s, len(line.selection.rows))
            )

    def _send_backlog(self, asked: BacklogRequest, address: str, peer: Peer, now_s: float) -> None:
        """Sends earlier data, within the peer's rate limit, and to watchers only, whose address is proven.
        Raises Refusal where it cannot be sent."""
        if self.archive is None:
            raise Refusal("address", f"{address} is not available here")
        if not self.watchers.holds(peer, now_s):
            raise Refusal("address", f"{address} answers watchers only: send {self._root}/watch first")
        for packet in self.archive.packets(asked, now_s):
            if not self._access.may_be_shown(peer.host, now_s):
                self._drop("rate", peer, "too much asked for at once", now_s)
                return
            peer.send_packet(packet)

    def _is_proven(self, peer: Peer, now_s: float) -> bool:
        """Whether the address of *peer* is not forged."""
        return peer.is_proven or self._proofs.holds(peer.key, now_s) or self.watchers.holds(peer, now_s)

    def _ask_for_proof(self, peer: Peer, now_s: float) -> None:
        peer.send_packet(self._answer("/verify", self._proofs.number(peer.key, now_s)))

    def _send_values(self, question: Question, address: str, peer: Peer, now_s: float) -> None:
        """Sends one value as a plain message; several in bundles, and to proven addresses only, since these
        are larger than the request. Raises Refusal where there is no value."""
        edition = self._publisher.latest
        found = [(row, edition.arguments(row)) for row in question.rows] if edition else []
        messages = [codec.message(self._root + row.path, row.tags, values) for row, values in found if values]
        messages += [
            codec.message(self._root + drop_path(reason), "i", [self.drops.counts[reason]])
            for reason in question.counters
        ]
        if not messages:
            raise Refusal("address", f"{quoted(address)} has no value now: ask again later")
        if len(messages) == 1:
            peer.send_packet(messages[0].dgram)
            return
        if not self._is_proven(peer, now_s):
            self._ask_for_proof(peer, now_s)
            return
        for datagram in codec.bundles(messages, time.time()):
            peer.send_packet(datagram)

    def _may_answer(self, peer: Peer, now_s: float) -> bool:
        if self._access.may_be_answered(peer.host, now_s):
            return True
        self._drop("rate", peer, "too many answers asked for", now_s)
        return False

    def _drop(self, reason: DropReason, peer: Peer, words: str, now_s: float) -> None:
        self.drops.count(reason, peer.host, words, now_s)

    def _answer(self, path: str, *values: float | int | str) -> bytes:
        datagram: bytes = codec.message(self._root + path, _ANSWER_TAGS[path], values).dgram
        return datagram
