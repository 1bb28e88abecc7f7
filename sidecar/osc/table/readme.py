"""The table as the README prints it."""

from __future__ import annotations

from sidecar.osc.table.addresses import INCOMING, RATES, ROOT, SENT, Incoming
from sidecar.osc.table.exchange import ANSWERS, DROPS, SERVICES, Exchange, drop_path
from sidecar.osc.table.screen_addresses import DETAILS


def markdown() -> str:
    """Returns the four tables of addresses as Markdown."""
    sent = [
        f"| `{ROOT}{out.path}` | `{out.tags}` | {out.unit or '–'} | {RATES[out.group]} | {out.sentence} |"
        for out in SENT
    ] + [
        f"| `{ROOT}{detail.path}` | `{detail.tags}` | – | {RATES[detail.group]} | {detail.sentence} |"
        for detail in DETAILS
    ]
    incoming = [
        f"| `{ROOT}{entry.path}` | {_arguments(entry)} | {entry.unit or '–'} | {entry.sentence} |"
        for entry in INCOMING
    ]
    asked = [_exchanged(service) for service in SERVICES]
    answered = [_exchanged(answer) for answer in ANSWERS]
    counted = [f"| `{ROOT}{drop_path(reason)}` | `i` | {sentence} |" for reason, sentence in DROPS.items()]
    return "\n\n".join(
        [
            _drawn(("out", "arguments", "unit", "sent", "meaning"), sent),
            _drawn(("in", "arguments", "unit", "meaning"), incoming),
            _drawn(("in, for clients", "arguments", "meaning"), asked),
            _drawn(("answer, to the client", "arguments", "meaning"), [*answered, *counted]),
        ]
    )


def _drawn(heads: tuple[str, ...], rows: list[str]) -> str:
    return "\n".join([f"| {' | '.join(heads)} |", "| --- " * len(heads) + "|", *rows])


def _exchanged(exchange: Exchange) -> str:
    tags = f"`{exchange.tags}`" if exchange.tags else "none"
    return f"| `{ROOT}{exchange.path}` | {tags} | {exchange.sentence} |"


def _arguments(entry: Incoming) -> str:
    if not entry.tags:
        return "none"
    tags = " or ".join(f"`{entry.tags.replace('n', tag)}`" for tag in ("si" if "n" in entry.tags else "s"))
    return f"{tags} {entry.low:g} to {entry.high:g}" if "f" in entry.tags else tags
