"""What rules ask of a grower's record, and where a ticket's trail shows it, or that it is kept elsewhere."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from vinebook.quantities import plain_mass

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from vinebook.seasons.trail_model import TicketTrail

ORGANIC = "organic rule, 7 CFR 205.103"
PRODUCE = "produce rule, 21 CFR 112.161"
WEIGHING = "weigh certificates, Cal. Bus. & Prof. Code 12714.5-12716.5"
LABELS = "label trail, Wine Australia Act 2013 Part VIA"
SOURCES = {
    ORGANIC: "text of the rule in a secondary copy",
    PRODUCE: "text at accessdata.fda.gov and ecfr.io, 21 CFR 112.161 and 112.162; two years by 112.164 from memory",
    WEIGHING: "text of the code in a secondary copy, sections 12714.5, 12715 and 12716.5; four years: Sonoma County",
    LABELS: "Wine Australia, Label Integrity Program",
}
"""Where the wording of each rule was read; the rule itself and local law come before this table."""


@dataclass(frozen=True, slots=True)
class Duty:
    """One thing that a rule asks for.

    Attributes
    ----------
    rule, asks : the rule, and what it asks for in our words.
    where : part of the trail that shows it, or what is kept elsewhere.
    shown : gives what a ticket's trail shows of it, "" where it lacks it; None where it is kept elsewhere.
    """

    rule: str
    asks: str
    where: str
    shown: Callable[[TicketTrail], str] | None = None


def _each(values: Iterator[str]) -> str:
    """Give values once each; "" where one is missing or there is none."""
    found = list(values)
    return ", ".join(dict.fromkeys(found)) if found and all(found) else ""


def _blocks(trail: TicketTrail) -> str:
    return _each(f"{part.block} {part.block_name}".strip() for part in trail.parts)


def _variety(trail: TicketTrail) -> str:
    return _each(part.cultivar for part in trail.parts)


def _vines(trail: TicketTrail) -> str:
    return _each(f"{part.block}: {'; '.join(part.rows_of_block)}" for part in trail.parts if part.rows_of_block)


def _standing(trail: TicketTrail) -> str:
    told = []
    for part in trail.parts:
        told += [f"{part.block}: {one.scheme} {one.status} {one.certificate}".strip() for one in part.certificates]
        if part.said_certified:
            told.append(f"{part.block}: {part.said_certified} (ticket)")
    return ", ".join(told)


def _masses(trail: TicketTrail) -> str:
    names = ("gross", "tare", "net") if "gross" in trail.masses else ("net",)
    return ", ".join(f"{name} {plain_mass(trail.masses[name])} {trail.mass_unit}" for name in names)


def _balance(trail: TicketTrail) -> str:
    off = trail.masses.get("refused", 0) + trail.masses.get("deductions", 0)
    blocks = ", ".join(f"{one.block} {one.season}" for one in trail.balances)
    return (
        f"accepted {plain_mass(trail.masses['net'] - off)} {trail.mass_unit}; season's mass balance of {blocks}"
        if blocks
        else ""
    )


def _party(name: str, address: str) -> str:
    return f"{name}, {address}" if name and address else ""


def _supplier(trail: TicketTrail) -> str:
    return _party(trail.grower.name, trail.grower.address)


def _receiver(trail: TicketTrail) -> str:
    return _party(trail.consignee.name, trail.consignee.address)


def _recorded(trail: TicketTrail) -> str:
    return f"{trail.date}; entered {trail.source.recorded_at} by {trail.source.entered_by}"


def _kept(years: int) -> Callable[[TicketTrail], str]:
    def shown(trail: TicketTrail) -> str:
        enough = trail.keep_years is not None and trail.keep_years >= years
        return f"the vineyard keeps records {trail.keep_years} years; rows are never deleted" if enough else ""

    return shown


def _sealed(trail: TicketTrail) -> str:
    return f"entry {trail.entries}, seal {trail.seal[:12]}…; `vinebook verify` checks it" if trail.seal else ""


def _corrected(trail: TicketTrail) -> str:
    steps = [step for step in trail.corrections if step.action == "superseded"]
    if steps:
        return "; ".join(f"{step.key} superseded {step.what}: {step.reason}" for step in steps)
    return "never superseded; a weight is not edited in place"


def _file(trail: TicketTrail) -> str:
    return f"{trail.source.file} line {trail.source.line}, kept as it came"


def _lot(trail: TicketTrail) -> str:
    return _party(_variety(trail), f"ticket {trail.issuer} {trail.number}")


def _both(trail: TicketTrail) -> str:
    return f"{trail.grower.name} to {trail.consignee.name}" if trail.grower.name and trail.consignee.name else ""


def _back(trail: TicketTrail) -> str:
    return f"{_blocks(trail)}; {_file(trail)}" if trail.parts else ""


DUTIES = (
    Duty(ORGANIC, "activities of production", "block, planting, rows; `trail BLOCK` has decisions and work", _vines),
    Duty(ORGANIC, "sale of the crop", "consignee, date, masses", _receiver),
    Duty(
        ORGANIC,
        "trace back to the certified operation",
        "standing of its blocks under each scheme on the day",
        _standing,
    ),
    Duty(ORGANIC, "auditable: what was grown against what was sold", "the season's mass balance", _balance),
    Duty(ORGANIC, "kept at least 5 years", "years that the vineyard keeps records", _kept(5)),
    Duty(ORGANIC, "purchases, seed and planting stock", "invoices and nursery papers, kept elsewhere"),
    Duty(ORGANIC, "sprays, fertilisers and other inputs", "spray and input records, kept elsewhere"),
    Duty(PRODUCE, "name and place of the farm", "vineyard and place", lambda t: _party(t.vineyard, t.place)),
    Duty(PRODUCE, "actual values", "masses as printed", _masses),
    Duty(PRODUCE, "the produce: variety and lot", "cultivar and ticket", _lot),
    Duty(PRODUCE, "growing area", "block", _blocks),
    Duty(PRODUCE, "date and time, made when it was done", "day of weighing beside the time of entry", _recorded),
    Duty(PRODUCE, "accurate, legible, indelible", "journal and seal", _sealed),
    Duty(PRODUCE, "dated and initialled by who did it", "who entered it and when", lambda t: t.source.entered_by),
    Duty(PRODUCE, "kept 2 years", "years that the vineyard keeps records", _kept(2)),
    Duty(PRODUCE, "reviewed by a supervisor, where it applies", "the signed paper, kept elsewhere"),
    Duty(PRODUCE, "water, workers' training, cleaning, soil amendments", "their own records, kept elsewhere"),
    Duty(WEIGHING, "number in one running series", "issuer and number", lambda t: _party(t.issuer, t.number)),
    Duty(WEIGHING, "date of weighing", "date", lambda t: t.date),
    Duty(WEIGHING, "commodity and what tells it from others", "cultivar", _variety),
    Duty(WEIGHING, "owner or agent, and consignee", "grower and consignee", _both),
    Duty(WEIGHING, "gross, tare and net, or a true net", "masses as printed, arithmetic checked", _masses),
    Duty(WEIGHING, "correction names old number and reason", "what superseded what, and why", _corrected),
    Duty(WEIGHING, "kept 4 years", "years that the vineyard keeps records", _kept(4)),
    Duty(
        WEIGHING, "weighmaster's name, signature and address; vehicle and bin marks", "the paper ticket, kept elsewhere"
    ),
    Duty(LABELS, "name and address of the supplier", "grower", _supplier),
    Duty(LABELS, "name and address of the receiver", "consignee", _receiver),
    Duty(LABELS, "date of the transfer", "date", lambda t: t.date),
    Duty(LABELS, "quantity", "masses as printed", _masses),
    Duty(LABELS, "vintage", "season", lambda t: str(t.season)),
    Duty(LABELS, "variety", "cultivar", _variety),
    Duty(LABELS, "geographical indication", "of the vineyard", lambda t: t.geographical_indication),
    Duty(LABELS, "one step back", "block, rows, file and line of the ticket", _back),
    Duty(LABELS, "kept 7 years", "years that the vineyard keeps records", _kept(7)),
    Duty(LABELS, "handed over on the day of delivery", "the paper that goes with the load, kept elsewhere"),
    Duty(LABELS, "what the winery does next", "the winery's own records, kept elsewhere"),
)
"""Every duty; a test shows each of them on the demo book."""


@dataclass(frozen=True, slots=True)
class DutyTold:
    """A duty as a ticket's trail meets it.

    Attributes
    ----------
    state : shown, missing or kept elsewhere.
    words : what is shown, or where it is looked for.
    """

    rule: str
    asks: str
    state: str
    words: str


def duties_of(trail: TicketTrail) -> list[DutyTold]:
    """Say of every duty what a ticket's trail shows of it."""
    told = []
    for duty in DUTIES:
        if duty.shown is None:
            told.append(DutyTold(duty.rule, duty.asks, "kept elsewhere", duty.where))
        else:
            words = duty.shown(trail)
            told.append(DutyTold(duty.rule, duty.asks, "shown" if words else "missing", words or duty.where))
    return told


def duties_page() -> str:
    """Give the tables of duties with which the guide's page on trails ends, in Markdown."""
    parts = []
    for rule, source in SOURCES.items():
        lines = [f"### {rule[0].upper()}{rule[1:]}", "", f"Read in: {source}.", ""]
        lines += ["| asks for | the trail shows |", "|---|---|"]
        lines += [f"| {duty.asks} | {duty.where} |" for duty in DUTIES if duty.rule == rule]
        parts.append("\n".join(lines))
    return "\n\n".join(parts) + "\n"
