"""What is built in: designs and rigs."""

from dataclasses import dataclass
from typing import Any

from presolder.models.instrument.network import Design, format_network
from presolder.models.instrument.rig import Rig
from presolder.render.report.rigs import design_plain, rig_plain
from presolder.render.report.table import Block, Table, lines_of, shows_itself


@shows_itself
@dataclass(frozen=True)
class DesignList:
    """Designs with their values."""

    designs: tuple[Design, ...]

    def blocks(self) -> tuple[Block, ...]:
        """One row a design."""
        rows = tuple((d.name, format_network(d.network) or "-", d.title) for d in self.designs)
        return (Table(("design", "parts", "what it does"), rows, words=3),)

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {"designs": [design_plain(design) for design in self.designs]}


@shows_itself
@dataclass(frozen=True)
class RigList:
    """Rigs with their values."""

    rigs: tuple[Rig, ...]

    def blocks(self) -> tuple[Block, ...]:
        """A rig's name and title, then its sections."""
        return tuple(line for rig in self.rigs for line in str(rig).splitlines())

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {"rigs": [rig_plain(rig) for rig in self.rigs]}
