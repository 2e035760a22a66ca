"""A weigh ticket's trail as lines for the screen: back to the vines, on to who took the fruit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vinebook.cli.tables import width_of_screen
from vinebook.cli.trail_lines import LABEL, balance_lines, labelled, seal_lines, step_words, wrapped
from vinebook.quantities import POUND_KG, plain_mass
from vinebook.reports.numbers import write_number
from vinebook.reports.trail_words import minute

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vinebook.cli.trail_lines import Units
    from vinebook.seasons.trail_model import (
        PartTold,
        Party,
        TicketTrail,
    )


def ticket_lines(trail: TicketTrail, units: Units) -> Iterator[str]:
    """Give the lines of a ticket's trail."""
    head = f"ticket {trail.issuer} {trail.number}, season {trail.season}"
    width = min(max(width_of_screen(), 60), 100)
    yield head + trail.state.rjust(max(width - len(head), len(trail.state) + 2))
    yield from wrapped("weighed", f"{trail.date}: {_masses(trail)}")
    source = trail.source
    place = f"{source.file} line {source.line} (tally {source.tally}, #{source.record})"
    yield from wrapped("recorded", f"{minute(source.recorded_at)} by {source.entered_by}: {place}")
    if trail.supersedes:
        yield from wrapped("supersedes", trail.supersedes)
    if trail.superseded_by:
        yield from wrapped("then", f"superseded by {trail.superseded_by}")
    yield from labelled("from", _vineyard(trail))
    for part in trail.parts:
        yield from labelled(f"block {part.block}"[:LABEL], _part(trail, part, units))
    if not trail.parts:
        yield from wrapped("block", "no part names a block yet: `vinebook add load_part` splits the ticket")
    yield from wrapped("to", _party(trail.consignee) or "no consignee is named on the ticket")
    accepted = trail.masses["net"] - trail.masses.get("refused", 0) - trail.masses.get("deductions", 0)
    words = f"accepted {plain_mass(accepted)} {trail.mass_unit}"
    for name, why in (("refused", trail.refused_reason), ("deductions", "")):
        if trail.masses.get(name):
            label = "deducted" if name == "deductions" else name
            words += f"; {label} {plain_mass(trail.masses[name])} {trail.mass_unit}{f' ({why})' if why else ''}"
    yield from wrapped("", words)
    if trail.must:
        yield from wrapped("must", ", ".join(f"{name} {value:g}" for name, value in trail.must.items()))
    if trail.note:
        yield from wrapped("note", trail.note)
    yield from labelled("corrections", (f"{step.at[:10]} {step_words(step)}" for step in trail.corrections))
    yield ""
    if trail.balances:
        yield from balance_lines(trail.balances, units)
        yield ""
    yield from seal_lines(trail.entries, trail.as_of, trail.seal)


def _masses(trail: TicketTrail) -> str:
    masses, unit = trail.masses, trail.mass_unit
    if "gross" in masses and "tare" in masses:
        gross, tare = plain_mass(masses["gross"]), plain_mass(masses["tare"])
        words = f"gross {gross} - tare {tare} = net {plain_mass(masses['net'])} {unit}"
    elif trail.bins is not None and "bin_mass" in masses:
        words = f"{trail.bins} bins of {plain_mass(masses['bin_mass'])} {unit}, net {plain_mass(masses['net'])} {unit}"
    else:
        words = f"net {plain_mass(masses['net'])} {unit} as given"
    return words + (
        f"; interval of the scale {plain_mass(masses['scale_interval'])} {unit}" if masses.get("scale_interval") else ""
    )


def _vineyard(trail: TicketTrail) -> Iterator[str]:
    yield ", ".join(filter(None, (trail.vineyard, trail.place))) or "no vineyard is named"
    grower = _party(trail.grower)
    if grower:
        yield grower
    if trail.geographical_indication:
        yield f"geographical indication {trail.geographical_indication}"


def _party(party: Party) -> str:
    return ", ".join(filter(None, (party.name, party.address, party.register_numbers)))


def _part(trail: TicketTrail, part: PartTold, units: Units) -> Iterator[str]:
    unit, factor = ("lb", 1 / float(POUND_KG)) if units == "us" else ("kg", 1.0)
    mass = (
        "not split yet" if part.mass_kg is None else f"{write_number(part.mass_kg * factor, 0)} {unit} ({part.split})"
    )
    yield f"{part.block_name or part.block}, pick {part.pick}: {mass}, by {part.picked}, for {part.purpose} wine"
    clone = f", clone {part.clone}" if part.clone else ""
    stock = f" on {part.rootstock}" if part.rootstock else ""
    planted = f", planted {part.year_planted}" if part.year_planted else ""
    blend = f"; field blend: {part.field_blend}" if part.field_blend else ""
    yield f"{part.cultivar or 'no planting is recorded'}{clone}{stock}{planted}{blend}"
    yield from part.rows_of_block
    for one in part.certificates:
        until = f" to {one.valid_to}" if one.valid_to else ""
        yield (
            f"{one.scheme}: {one.status.replace('_', ' ')} {one.certificate} from {one.valid_from}{until}, as it stood "
            f"on {trail.date} ({one.source.file} line {one.source.line})"
        )
    if not part.certificates:
        yield f"no scheme is recorded for {trail.date}"
    if part.said_certified:
        yield f"the ticket's part says: {part.said_certified}"
    places = [f"{part.source.file} line {part.source.line}"]
    if part.planting is not None:
        places.append(f"{part.planting.file} line {part.planting.line}")
    yield "; ".join(places)
