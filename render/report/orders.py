"""One order over several jobs: how many of what, what the drawer has, and what it costs."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from presolder.models.instrument.network import Network
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stock import Stock
from presolder.render.report.soldering import Order, order_plain, orders
from presolder.render.report.table import Block, Table, lines_of, shows_itself

Job = tuple[Rig, Network]


@dataclass(frozen=True)
class OrderLine:
    """One line of the order.

    Attributes
    ----------
    order : Order
        For all jobs together.
    in_stock : int
        Of those, how many the drawer has.
    price : float or None
        Of a piece, as the drawer has it.
    """

    order: Order
    in_stock: int
    price: float | None

    @property
    def to_buy(self) -> int:
        """How many are missing."""
        return self.order.quantity - self.in_stock


@shows_itself
@dataclass(frozen=True, eq=False)
class OrderList:
    """What several jobs take together.

    Attributes
    ----------
    lines_ordered : tuple of OrderLine
    jobs : int
    stock : Stock or None
        The drawer that was looked into.
    """

    lines_ordered: tuple[OrderLine, ...]
    jobs: int
    stock: Stock | None

    def blocks(self) -> tuple[Block, ...]:
        """A line a part."""
        drawer = self.stock is not None
        head = ("", *(("in stock", "to buy", "each") if drawer else ()), "part", "", "series", "")
        rows = tuple(self._row(line, drawer) for line in self.lines_ordered)
        jobs = f"{self.jobs} job{'' if self.jobs == 1 else 's'}"
        blocks: list[Block] = [f"To order for {jobs}", "", Table(head, rows, words=len(head))]
        unpriced = [line for line in self.lines_ordered if line.to_buy and line.price is None]
        if drawer and self.missing_cost:
            rest = f", {len(unpriced)} lines without a price apart" if unpriced else ""
            blocks += ["", f"To buy: {self.missing_cost:.2f} in all{rest}."]
        return tuple(blocks)

    @property
    def missing_cost(self) -> float | None:
        """Of what is to buy and has a price; None if nothing has."""
        priced = [line.to_buy * line.price for line in self.lines_ordered if line.price is not None]
        return sum(priced) if priced else None

    @staticmethod
    def _row(line: OrderLine, drawer: bool) -> tuple[str, ...]:
        order = line.order
        price = "-" if line.price is None else f"{line.price:.2f}"
        have = (str(line.in_stock), str(line.to_buy), price) if drawer else ()
        return (f"{order.quantity} x", *have, order.what, f"±{order.tolerance}", order.series,
                order.note)  # fmt: skip

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "jobs": self.jobs,
            "orders": [
                order_plain(line.order)
                | {
                    "in_stock": line.in_stock if self.stock is not None else None,
                    "to_buy": line.to_buy if self.stock is not None else None,
                    "price": line.price,
                }
                for line in self.lines_ordered
            ],
            "missing_cost": self.missing_cost,
        }


def order_list(jobs: Sequence[Job], stock: Stock | None) -> OrderList:
    """Add up what jobs take, and look what of it the drawer has.

    Dual pots are not looked for: which of a drawer fits depends on the guitar.
    """
    together: Counter[Order] = Counter()
    for rig, network in jobs:
        for order in orders(rig, network):
            together[replace(order, quantity=1)] += order.quantity
    lines = []
    for order, quantity in together.items():
        pieces, price = _in_drawer(order, stock)
        lines.append(OrderLine(replace(order, quantity=quantity), min(pieces, quantity), price))
    return OrderList(tuple(lines), len(jobs), stock)


def _in_drawer(order: Order, stock: Stock | None) -> tuple[int, float | None]:
    """Pieces of what an order's line names, and the price of one."""
    lines = () if stock is None else [line for line in stock.lines if line.part == order.part]
    prices = [line.price for line in lines if line.price is not None]
    return sum(line.pieces for line in lines), prices[0] if prices else None
