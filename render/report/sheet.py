"""The parts and wiring sheet: as a page to print, as text, and as JSON."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from markupsafe import Markup

from presolder.models.instrument.network import Capacitor, Design, Gang, format_network, leaves
from presolder.models.instrument.placement import placed_parts, value_text
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import Merit
from presolder.models.judging.verdict import Need
from presolder.models.measuring.soldered import works
from presolder.render import plots
from presolder.render.report import soldering
from presolder.render.report.advice import advice, off, spoilt_in_words
from presolder.render.report.judged import (
    dials_in_words,
    judged_by,
    situations_plain,
)
from presolder.render.report.paper import (
    GUITAR_EM,
    SMALLEST_POINTS,
    fitting_points,
    is_narrow,
)
from presolder.render.report.table import Block, Table, fitting, lines_of, shows_itself
from presolder.render.report.template import filled


@shows_itself
@dataclass(frozen=True, eq=False)
class Sheet:
    """Everything that a sheet says about one design.

    Attributes
    ----------
    ears : tuple of Ear
        The rig and the conditions, in each situation; readings are of the first.
    design : Design
    figures : tuple of Merit
        Of the design on the rig, in each; none where nothing is to be said of the sound.
    found : tuple of Need
        Whether a bypass helps, in each; with the bare pot's own figures. None likewise.
    workshop : str
        Who made the sheet.
    """

    ears: tuple[Ear, ...]
    design: Design
    figures: tuple[Merit, ...] = field(default=(), repr=False)
    found: tuple[Need, ...] = field(default=(), repr=False)
    workshop: str = ""

    @property
    def rig(self) -> Rig:
        """What it is soldered into."""
        return self.ears[0].rig

    @cached_property
    def svg(self) -> Markup:
        """The drawing, an SVG element."""
        return Markup(plots.wiring_svg(self.design.network))

    @property
    def expression(self) -> str:
        """The network in the notation of designs; empty for the bare pot."""
        return format_network(self.design.network)

    @property
    def expect(self) -> str:
        """What the figures of merit foretell, a sentence a situation."""
        if self.design.network is None:
            return "Nothing to solder: the bare pot stays as it is."
        several = len(self.ears) > 1
        return " ".join(
            _expected(figures, found.bare.figures[0], f" in {ear.name!r}" if several else "")
            for ear, figures, found in zip(self.ears, self.figures, self.found, strict=False)
        )

    @property
    def advice(self) -> tuple[str, ...]:
        """Whether a bypass helps here, which, at what cost, and what else does."""
        return tuple(
            " ".join((f"{ear.name}:" if len(self.ears) > 1 else "", *advice(ear, found))).strip()
            for ear, found in zip(self.ears, self.found, strict=False)
        )

    @property
    def dual(self) -> str:
        """Whether the control must be a multi-gang part."""
        gangs = sum(isinstance(leaf, Gang) for leaf in leaves(self.design.network))
        pots = len(works(self.rig))
        several = {2: "both"}.get(pots, "all")
        if not gangs:
            stay = "the volume pot stays as it is"
            if pots > 1:
                stay = f"{several} volume pots stay as they are"
            return f"No multi-gang part is needed: {stay}."
        kind = soldering.gang_kind(gangs + 1)
        needed, whose = f"The volume control must be a {kind} part, turned by one shaft.", "Its"
        if pots > 1:
            needed = (
                f"{several.capitalize()} volume controls must be {kind} parts, each turned by one"
                " shaft."
            )
            whose = "At least in one the"
        if not soldering.special_order(self.rig, self.design.network):
            return needed
        return (
            f"{needed} {whose} sections differ in value or taper, or are more than two: a special"
            " order, not a stock part."
        )

    def blocks(self) -> tuple[Block, ...]:
        """The sheet for people."""
        context = self.context()
        name, expression = self.design.name, self.expression
        head = name if expression in ("", name) else f"{name}: {expression}"
        if self.design.network is None:
            return (
                f"{head}  (for {context['rig']})",
                self.expect,
                *self.advice,
                *([context["removal"]] if context["removal"] else []),
                "To order: nothing",
                "",
                *judged_by(self.ears),
            )
        return (
            f"{head}  (for {context['rig']})",
            *self.advice,
            self.expect,
            "",
            *_order_block(context["orders"]),
            self.dual,
            "",
            "Before",
            *_steps_block(context["before"]),
            *(line for pot in context["pots"] for line in _pot_lines(pot)),
            "",
            "Take care",
            *(f"  - {caution}" for caution in soldering.CAUTIONS),
            "",
            *judged_by(self.ears),
        )

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        context, network = self.context(), self.design.network
        pots: tuple[soldering.PotBlock, ...] = context["pots"]
        return {
            "rig": self.rig.name,
            "situations": situations_plain(self.ears),
            "design": self.design.name,
            "expression": self.expression or None,
            "said": list(self.advice),
            "expect": self.expect,
            "special_order": soldering.special_order(self.rig, network),
            "multi_gang": any(isinstance(leaf, Gang) for leaf in leaves(network)),
            "orders": [soldering.order_plain(order) for order in context["orders"]],
            "parts": [
                {
                    "name": part.name,
                    "value": value_text(part.leaf),
                    "from": part.start,
                    "to": part.end,
                }
                for part in placed_parts(network)
            ],
            "before": [step.plain() for step in context["before"]],
            "pots": [
                {
                    "title": pot.title,
                    "steps": [step.plain() for step in pot.steps],
                    "lugs": dict(pot.lugs),
                }
                for pot in pots
            ],
            "cautions": list(soldering.CAUTIONS),
        }

    def context(self) -> dict[str, Any]:
        """What the templates fill in, but for the drawing."""
        network = self.design.network
        capacitors = any(isinstance(leaf, Capacitor) for leaf in leaves(network))
        pots = soldering.pot_blocks(self.rig, network)
        return {
            "name": self.design.name,
            "title": self.design.title,
            "expression": self.expression,
            "rig": (self.rig.title or self.rig.name)
            + (f"; readings in situation {self.ears[0].name!r}" if len(self.ears) > 1 else ""),
            "verdict": " ".join(self.advice) if self.design.network is not None else "",
            "expect": self.expect,
            "dual": self.dual,
            "orders": soldering.orders(self.rig, network),
            "ceramics": soldering.CERAMIC_NOTE if capacitors else "",
            "removal": soldering.removal_note(self.rig, network),
            "before": soldering.preparations(self.rig, network),
            "pots": pots,
            "cautions": soldering.CAUTIONS,
            "alike": len({pot.lugs for pot in pots}) == 1,
            "narrow": is_narrow(self.svg),
        }

    def page(self) -> str:
        """The sheet as a page of its own, one side of A4 when printed."""
        return sheet_pages((self,))

    def _repr_html_(self) -> str:
        """For a notebook: the drawing over the words."""
        # As plain text: markup would escape what is put into it.
        svg = Markup(fitting(str(self.svg)))
        body = filled("sheet_body.html.j2", sheet=self.context() | {"svg": svg}, level=4)
        return f"<p>{self.expect}</p>{body}"


def sheet_pages(sheets: Sequence[Sheet]) -> str:
    """Sheets as one page to print, a side of A4 each.

    Parameters
    ----------
    sheets : sequence of Sheet
    """
    title = ", ".join(sheet.design.name for sheet in sheets)
    return filled("sheet.html.j2", sheets=[_filled_in(sheet) for sheet in sheets], title=title)


def _expected(figures: Merit, bare: Merit, where: str) -> str:
    change, was = figures.change, bare.change
    lost, lost_now = figures.over_dials(change.duller_db), bare.over_dials(was.duller_db)
    gained, gained_now = figures.over_dials(change.brighter_db), bare.over_dials(was.brighter_db)
    keeps = "keep more treble" if lost < lost_now else "lose as much treble as now, or more"
    more = f", and {gained:.1f} dB is gained instead of {gained_now:.1f} dB"
    spoilt = "".join(f" Mind: it {words}." for words in spoilt_in_words(figures))
    level_now = off(bare).removesuffix(" than an ideal one")
    return (
        f"With these parts{where}, at {dials_in_words(figures.dial)} you {keeps}: {lost:.1f} dB is"
        f" lost instead of {lost_now:.1f} dB{more if round(gained - gained_now, 1) >= 0.3 else ''}"
        f" (the knob is {off(figures)}, now {level_now}).{spoilt}"
    )


def _filled_in(sheet: Sheet) -> dict[str, Any]:
    context = sheet.context()
    rows = len(sheet.rig.channels)
    # The guitar is drawn, and the verdict repeated, where there is room on the sheet's one side.
    points = fitting_points(context, sheet.svg, rows)
    guitar = "" if points is None else Markup(plots.guitar_svg(sheet.rig))
    if points is None:
        points = fitting_points(context, sheet.svg)
    if points is None:
        brief = re.sub(r" \([^)]*\)", "", context["expect"])
        context = context | {"verdict": "", "expect": brief}
        points = fitting_points(context, sheet.svg) or SMALLEST_POINTS
    return context | {
        "svg": sheet.svg,
        "guitar": guitar,
        "guitar_em": GUITAR_EM * rows,
        "points": points,
        "workshop": sheet.workshop,
    }


def _order_block(orders: tuple[soldering.Order, ...]) -> tuple[Block, ...]:
    if not orders:
        return ("To order: nothing",)
    rows = tuple((f"{o.quantity} x", o.what, f"±{o.tolerance}", o.series, o.note) for o in orders)
    table = Table(("", "to order", "tolerance", "series", "note"), rows, words=5)
    small = any(order.what.startswith("capacitor") for order in orders)
    return (table, *([soldering.CERAMIC_NOTE] if small else []))


def _steps_block(steps: tuple[soldering.Step, ...]) -> list[str]:
    lines = []
    for i, step in enumerate(steps, start=1):
        lines.append(f"  [ ] {i}. {step.do}")
        if step.check:
            lines.append(f"      Check: {step.check}.")
    return lines


def _pot_lines(pot: soldering.PotBlock) -> list[str]:
    return [
        "",
        f"To do at the {pot.title}",
        *_steps_block(pot.steps),
        "",
        f"Lug by lug, when done, at the {pot.title}",
        *(f"  {place}: {what}" for place, what in pot.lugs),
    ]
