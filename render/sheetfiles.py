"""The parts and wiring sheet: as a page to print, as text, and as JSON."""

from dataclasses import asdict, dataclass
from typing import Any

from presolder.models.merit import merit
from presolder.models.network import Design, Gang, format_network, leaves
from presolder.models.rig import Rig
from presolder.models.wiring import (
    CAUTIONS,
    Order,
    fitted_pots,
    lug_table,
    orders,
    placed_parts,
    steps,
    value_text,
)


@dataclass(frozen=True)
class Sheet:
    """Everything that a sheet says about one design.

    Attributes
    ----------
    name, title, expression : str
        Of the design.
    rig : str
        What the rig calls itself.
    expect : str
        What the figures of merit foretell, in a sentence.
    dual : str
        Whether the control must be a multi-gang part.
    orders : tuple of Order
    steps : tuple of str
    lugs : tuple of (place, what)
    cautions : tuple of str
    """

    name: str
    title: str
    expression: str
    rig: str
    expect: str
    dual: str
    orders: tuple[Order, ...]
    steps: tuple[str, ...]
    lugs: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...] = CAUTIONS


def make_sheet(rig: Rig, design: Design) -> Sheet:
    """Work out the sheet of a design on a rig."""
    figures = merit(rig, design.network)
    expect = (
        f"To expect over dials 3 to 9: tone within {figures.tone_rms_db:.1f} dB RMS of dial 10,"
        f" level {figures.taper_rms_db:.1f} dB RMS from the bare pot's"
        f" ({figures.taper_worst_db:.1f} dB at most)."
    )
    gangs = sum(isinstance(leaf, Gang) for leaf in leaves(design.network))
    pots = fitted_pots(rig)
    stays = "both volume pots stay as they are" if pots == 2 else "the volume pot stays as it is"
    dual = f"No multi-gang part is needed: {stays}."
    if gangs:
        kind = {1: "dual-gang"}.get(gangs, f"{gangs + 1}-gang")
        dual = f"The volume control must be a {kind} part, turned by one shaft."
    return Sheet(
        design.name, design.title, format_network(design.network), rig.title or rig.name, expect,
        dual, orders(rig, design.network), steps(rig, design.network),
        lug_table(rig, design.network),
    )  # fmt: skip


def sheet_text(sheet: Sheet) -> str:
    """The sheet for a terminal."""
    head = sheet.name if sheet.name == sheet.expression else f"{sheet.name}: {sheet.expression}"
    lines = [f"{head or sheet.name}  (for {sheet.rig})", sheet.expect, "", "To order"]
    lines += [
        f"  {order.quantity} x {order.what}, ±{order.tolerance}, series {order.series};"
        f" {order.note}"
        for order in sheet.orders
    ] or ["  nothing"]
    lines += [f"  {sheet.dual}", "", "To do"]
    lines += [f"  {i}. {step}" for i, step in enumerate(sheet.steps, start=1)]
    lines += ["", "Lug by lug, when done"]
    lines += [f"  {place}: {what}" for place, what in sheet.lugs]
    lines += ["", "Take care", *(f"  - {caution}" for caution in sheet.cautions)]
    return "\n".join(lines)


def sheet_page(rig: Rig, design: Design, workshop: str = "") -> str:
    """The sheet as a page of its own, one side of A4 when printed."""
    from presolder.render.template import filled

    return filled("sheet.html.j2", sheet=sheet_context(rig, design), workshop=workshop)


def sheet_context(rig: Rig, design: Design) -> dict[str, Any]:
    """What the templates fill in, the drawing included."""
    from markupsafe import Markup

    from presolder.render.schematic import network_svg

    return vars(make_sheet(rig, design)) | {"svg": Markup(network_svg(design.network))}


def sheet_json(rig: Rig, design: Design) -> dict[str, Any]:
    """The sheet as plain values."""
    sheet = make_sheet(rig, design)
    return {
        "rig": rig.name,
        "design": design.name,
        "expression": sheet.expression or None,
        "multi_gang": any(isinstance(leaf, Gang) for leaf in leaves(design.network)),
        "orders": [asdict(order) for order in sheet.orders],
        "parts": [
            {
                "name": part.name,
                "value": value_text(part.leaf),
                "from": part.start,
                "to": part.end,
            }
            for part in placed_parts(design.network)
        ],
        "steps": list(sheet.steps),
        "lugs": dict(sheet.lugs),
        "cautions": list(sheet.cautions),
    }
