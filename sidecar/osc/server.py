"""What happens to a packet that arrives: let in, read, obeyed or refused, answered. No sockets here.

Who is not allowed to speak gets no answer at all, so that nobody can be made a victim of answers by a forged
sender; everybody else is told why something was not obeyed. Every drop is counted.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from sidecar.model.commands import Arm, Command, Disarm, FaderAt, StemFaderAt
from sidecar.model.snapshot import Event
from sidecar.osc import codec
from sidecar.osc.access import LARGEST_PACKET, AccessPolicy
from sidecar.osc.address_proof import AddressProofs
from sidecar.osc.addresses import ROOT
from sidecar.osc.backlog import Backlog
from sidecar.osc.drops import DropCounters, quoted
from sidecar.osc.exchange import ANSWERS, DropReason, drop_path
from sidecar.osc.patterns import is_pattern
from sidecar.osc.publisher import Publisher
from sidecar.osc.requests import BacklogRequest, Errand, Proof, Question, Refusal, RequestParser, Subscription
from sidecar.osc.subscriptions import LEASE_S, Peer, Subscriptions
from sidecar.osc.workstation import Workstation

_ANSWER_TAGS = {answer.path: answer.tags for answer in ANSWERS}

_UNHELD = "Disarmed: the connection that it was armed from has ended."

_Served = Question | Subscription | Proof | Errand

Obey = Callable[[Command], Future[str] | None]
"""Takes a command and returns at once; the future, where there is one, is why it was not carried out."""
Later = Callable[[Callable[[float], None]], None]
"""Has something called on the loop, from any thread, with the time."""


@dataclass(slots=True)
class _Packet:
    """What one packet asked for: its questions are answered after the commands before them."""

    commands: int = 0
    """Those whose outcome is not known yet."""
    questions: list[tuple[Question, str]] = field(default_factory=list)


class OscServer:
    """Takes packets from peers of any kind. Lives on the engine's loop."""

    def __init__(
        self,
        doors: AccessPolicy,
        outbox: Publisher,
        *,
        update_hz: float,
        link: Workstation | None = None,
        root: str = ROOT,
    ) -> None:
        """update_hz: readings a second where a subscriber names no rate, and the most there are.
        link: how a workstation speaks of its faders, and from where; it may speak of nothing else.
        root: what the addresses of the sidecar's own begin with.
        """
        self.drops = DropCounters()
        self.subscribers = Subscriptions(outbox)
        self.obey: Obey | None = None
        self.report_fader: Callable[[FaderAt | StemFaderAt], None] | None = None
        """Gets what the workstation says of its faders."""
        self.stranger = ""
        """Who else has spoken at an address of the surface's, in a sentence."""
        self.later: Later = lambda call: call(time.monotonic())
        self.archive: Backlog | None = None
        """Where it can be told what was before."""
        self._doors = doors
        self._outbox = outbox
        self._update_hz = update_hz
        self._link = link
        self._disarm = codec.message(f"{root}/disarm", "", []).dgram
        self._armed_by: Hashable = None
        """Who armed the fader, where that is a connection or a subscription, which can end."""
        self._root = root
        self._inbox = RequestParser(root)
        self._proofs = AddressProofs()
        self._answers = frozenset(root + path for path in _ANSWER_TAGS)

    def news(self) -> Sequence[Event]:
        """What has happened in the course since the last call; to be called with each snapshot."""
        return self.archive.news() if self.archive else ()

    def is_disarm(self, packet: bytes) -> bool:
        """Whether a packet is the one command that waits for nothing."""
        return bool(packet == self._disarm)

    def receive_packet(self, packet: bytes, peer: Peer, now_s: float) -> None:
        """One packet, whatever it may be; never raises."""
        try:
            self._take(packet, peer, now_s)
        except Exception as error:  # a fault of ours that one packet has found must not cost the next one
            self._drop("broken", peer, f"a packet has set off a fault inside ({error!r})", now_s)

    def _take(self, packet: bytes, peer: Peer, now_s: float) -> None:
        is_let_in = self._doors.is_allowed(peer.host)
        if not is_let_in and not self._doors.is_desk(peer.host):
            self._drop("sender", peer, "this sender is not allowed", now_s)
            return
        if len(packet) > LARGEST_PACKET:
            self._drop("size", peer, f"{len(packet)} bytes, where {LARGEST_PACKET} are the most", now_s)
            return
        is_urgent = is_let_in and self.is_disarm(packet)
        if not is_urgent and not self._doors.has_room_for(peer.host, len(packet), now_s):
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
                self._hear_desk(self._link, address, arguments, peer, now_s)
            elif is_let_in:
                self._hear(address, arguments, peer, now_s, parts)
            else:
                self._drop("sender", peer, f"the workstation may not command: {address}", now_s)

    def _hear_desk(
        self, link: Workstation, address: str, arguments: list[Any], peer: Peer, now_s: float
    ) -> None:
        """A workstation's feedback tells of much besides its faders, many times a second: no fault. It is
        never answered: it was not told to understand that."""
        if not link.peer.is_sender(peer.key):
            self._note_stranger(link, address, peer, now_s)
            return
        try:
            asked = link.feedback(address, arguments)
        except ValueError as error:
            self._drop("argument", peer, str(error), now_s)
            return
        if asked and self.report_fader:
            self.report_fader(asked)

    def _note_stranger(self, link: Workstation, address: str, peer: Peer, now_s: float) -> None:
        """Anything on this machine can send to the port: only the workstation's own word counts."""
        if address == link.feedback_address:
            self.stranger = (
                f"{address} was heard from {peer.status.name}, which does not count: the workstation is at "
                f"{link.peer}. If it sends from another port, give --surface-from."
            )
        self._drop("sender", peer, f"{address} counts from the workstation only", now_s)

    def _hear(self, address: str, arguments: list[Any], peer: Peer, now_s: float, packet: _Packet) -> None:
        if address in self._answers:  # an answer to an answer would go back and forth for ever
            self._drop("address", peer, f"{address} is an answer", now_s)
            return
        is_urgent = address == self._root + "/disarm"
        if not is_urgent and not self._doors.may_say(peer.host, now_s):
            self._drop("rate", peer, "too many messages at once", now_s)
            return
        try:
            asked = self._inbox.request(address, arguments)
            if isinstance(asked, Command):
                if self._link and isinstance(asked, FaderAt):
                    raise Refusal("argument", "the workstation itself says where its fader stands")
                self._note_holder(asked, peer, now_s)
                self._pass_on(asked, address, peer, packet)
            elif isinstance(asked, Question) and packet.commands:
                packet.questions.append((asked, address))
            elif isinstance(asked, BacklogRequest):
                self._show(asked, address, peer, now_s)
            elif asked:
                self._serve(asked, address, peer, now_s)
        except Refusal as refusal:
            self._refuse(refusal, address, peer, now_s)

    def end(self, peer: Peer) -> None:
        """Ends what *peer* was sent; a fader that was armed from there is disarmed."""
        self.subscribers.cancel(peer)
        if self._armed_by is not None and peer.key == self._armed_by:
            self._disarm_unheld()

    def expire(self, now_s: float) -> None:
        """Ends what was not renewed, and disarms a fader that was armed by a subscriber who has gone."""
        self.subscribers.expire(now_s)
        if isinstance(self._armed_by, tuple) and not self.subscribers.is_known(self._armed_by):
            self._disarm_unheld()

    def _note_holder(self, asked: Command, peer: Peer, now_s: float) -> None:
        """A plain datagram has no connection that could be lost; a subscription is one."""
        if isinstance(asked, Arm):
            is_lasting = not isinstance(peer.key, tuple) or self.subscribers.holds(peer, now_s)
            self._armed_by = peer.key if is_lasting else None

    def _disarm_unheld(self) -> None:
        self._armed_by = None
        if self.obey:
            self.obey(Disarm(_UNHELD))

    def _refuse(self, refusal: Refusal, address: str, peer: Peer, now_s: float) -> None:
        self._drop(refusal.reason, peer, str(refusal), now_s)
        if self._may_answer(peer, now_s):
            peer.send_packet(self._answer("/error", quoted(address), quoted(str(refusal))))

    def _pass_on(self, command: Command, address: str, peer: Peer, packet: _Packet) -> None:
        """A command, to be carried out elsewhere; its sender gets to know why where it is not."""
        outcome = self.obey(command) if self.obey else None
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
        if packet.commands:
            return
        for question, asked_at in packet.questions:
            try:
                self._serve(question, asked_at, peer, now_s)
            except Refusal as refusal:
                self._refuse(refusal, asked_at, peer, now_s)
        packet.questions.clear()

    def _serve(
        self, asked: Question | Subscription | Proof | Errand, address: str, peer: Peer, now_s: float
    ) -> None:
        """Raises Refusal where it cannot be had."""
        if not self._may_answer(peer, now_s):
            return
        if isinstance(asked, Question):
            self._tell(asked, address, peer, now_s)
            return
        if isinstance(asked, Proof):
            if not self._proofs.prove(peer.key, asked.number, now_s):
                raise Refusal("argument", "that is not the number that was sent to this address of late")
            return
        if asked == "unsubscribe":
            self.end(peer)
            peer.send_packet(self._answer("/subscribed", 0.0, 0.0, 0))
            return
        if isinstance(asked, Subscription):
            if not self._is_proven(peer, now_s):
                self._ask_for_proof(peer, now_s)
                return
            rate_hz = min(asked.rate_hz or self._update_hz, self._update_hz)
            full = self.subscribers.grant(peer, asked.selection, rate_hz, now_s)
            if full:
                raise Refusal("full", full)
        line = self.subscribers.renew(peer, now_s)
        if line is None:
            raise Refusal("address", "there is no subscription to renew: it ended, or never was")
        peer.send_packet(self._answer("/subscribed", LEASE_S, 1.0 / line.period_s, len(line.selection.rows)))

    def _show(self, asked: BacklogRequest, address: str, peer: Peer, now_s: float) -> None:
        """What was before, as far as the asker's allowance goes, and to subscribers only: they said that they
        take packets here. Raises Refusal where it cannot be had."""
        if self.archive is None:
            raise Refusal("address", f"{address} cannot be told by this sidecar")
        if not self.subscribers.holds(peer, now_s):
            raise Refusal("address", f"{address} is told to subscribers: send {self._root}/subscribe first")
        for packet in self.archive.packets(asked, now_s):
            if not self._doors.may_be_shown(peer.host, now_s):
                self._drop("rate", peer, "too much asked for at once", now_s)
                return
            peer.send_packet(packet)

    def _is_proven(self, peer: Peer, now_s: float) -> bool:
        """Whether what is sent to *peer* goes to who asked for it."""
        return peer.is_proven or self._proofs.holds(peer.key, now_s) or self.subscribers.holds(peer, now_s)

    def _ask_for_proof(self, peer: Peer, now_s: float) -> None:
        peer.send_packet(self._answer("/verify", self._proofs.number(peer.key, now_s)))

    def _tell(self, question: Question, address: str, peer: Peer, now_s: float) -> None:
        """One value as a plain message, as the asker of one expects it; more in bundles, to proven addresses
        only, for they are larger than the question."""
        edition = self._outbox.latest
        told = [(row, edition.arguments(row)) for row in question.rows] if edition else []
        messages = [codec.message(self._root + row.path, row.tags, values) for row, values in told if values]
        messages += [
            codec.message(self._root + drop_path(reason), "i", [self.drops.counts[reason]])
            for reason in question.counters
        ]
        if not messages:
            raise Refusal("address", f"{quoted(address)} has nothing to tell now")
        if len(messages) == 1:
            peer.send_packet(messages[0].dgram)
            return
        if not self._is_proven(peer, now_s):
            self._ask_for_proof(peer, now_s)
            return
        for datagram in codec.bundles(messages, time.time()):
            peer.send_packet(datagram)

    def _may_answer(self, peer: Peer, now_s: float) -> bool:
        if self._doors.may_be_answered(peer.host, now_s):
            return True
        self._drop("rate", peer, "too many answers asked for", now_s)
        return False

    def _drop(self, reason: DropReason, peer: Peer, words: str, now_s: float) -> None:
        self.drops.count(reason, peer.host, words, now_s)

    def _answer(self, path: str, *values: float | int | str) -> bytes:
        datagram: bytes = codec.message(self._root + path, _ANSWER_TAGS[path], values).dgram
        return datagram
