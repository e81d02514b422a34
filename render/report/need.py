"""What a judgement of need says to people and programs."""

import math
from dataclasses import dataclass
from typing import Any

from presolder.models.instrument.rig import Rig
from presolder.models.judging.need import TREBLE_HZ, Need, Needed, Playing
from presolder.render.report.numbers import finite
from presolder.render.report.table import Block, Table, lines_of, shows_itself

SAYS: dict[Needed, str] = {
    "no": "No: the bare pot keeps its treble where you leave the knob.",
    "hardly": "Hardly: the bare pot dulls the tone a little; most players leave it.",
    "probably": "Probably: the bare pot dulls the tone noticeably where you leave the knob.",
    "yes": "Yes: the bare pot takes much of the treble where you leave the knob.",
}
ALWAYS_FULL = (
    "No: with the knob always at 10, wiper and input lug are one, and a bypass does nothing."
)


@shows_itself
@dataclass(frozen=True, eq=False)
class NeedReport:
    """Whether a rig and a way of playing need a bypass.

    Attributes
    ----------
    rig : Rig
    plays : {"full", "rolls-back", "swells", "cleans-up-dirt"}
    found : Need
        The numbers.
    """

    rig: Rig
    plays: Playing
    found: Need

    @property
    def verdict(self) -> Needed:
        """In a word: no, hardly, probably or yes."""
        return self.found.verdict

    def blocks(self) -> tuple[Block, ...]:
        """The verdict, and a table of what the bare pot takes away."""
        if self.plays == "full":
            said = [ALWAYS_FULL]
        else:
            said = [
                SAYS[self.verdict],
                f"Treble lost at the worst of the dials used ({self.plays}):"
                f" {self.found.worst_db:.1f} dB.",
            ]
        return (*said, "", self._table())

    def _table(self) -> Table:
        found = self.found
        rows = []
        for dial, lost, frequency, height in zip(
            found.dial, found.lost_db, found.resonance_hz, found.resonance_db, strict=True
        ):
            peak = "none" if math.isnan(frequency) else f"{frequency:.0f} Hz, {height:+.1f} dB"
            rows.append((f"{dial:g}", *(f"{db:.1f} dB" for db in lost), peak))
        return Table(
            ("dial", "lost at 2 kHz", "3.5 kHz", "5 kHz", "resonance"), tuple(rows), words=0
        )

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        found = self.found
        frequencies, heights = finite(found.resonance_hz, 1), finite(found.resonance_db)
        return {
            "rig": self.rig.name,
            "plays": self.plays,
            "needed": found.verdict,
            "worst_lost_db": round(found.worst_db, 4),
            "dials": [
                {
                    "dial": float(dial),
                    "lost_db": dict(
                        zip((f"{hz:g}" for hz in TREBLE_HZ), finite(lost), strict=True)
                    ),
                    "resonance_hz": frequency,
                    "resonance_db": height,
                }
                for dial, lost, frequency, height in zip(
                    found.dial, found.lost_db, frequencies, heights, strict=True
                )
            ],
        }
