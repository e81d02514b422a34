"""What a judgement of need says to people and programs."""

import math
from dataclasses import dataclass
from typing import Any

from presolder.models.judging.ear import Ear
from presolder.models.judging.need import Need, Needed
from presolder.models.judging.ranking import Scored
from presolder.render.report.judged import (
    conditions_plain,
    dials_in_words,
    figures_plain,
    judged_by,
    sounds,
    where_heard,
)
from presolder.render.report.numbers import finite
from presolder.render.report.table import Block, Table, lines_of, shows_itself

SAYS: dict[Needed, str] = {
    "no": "No: where the knob is left, the bare pot sounds as it does at 10, only quieter.",
    "hardly": "Hardly: the tone changes, but little treble is lost.",
    "probably": "Probably: the bare pot is noticeably duller than at 10.",
    "yes": "Yes: the bare pot loses much of its treble.",
}
BRIGHTER = "Hardly: the tone changes, but gets brighter rather than duller."
ALWAYS_FULL = (
    "No: with the knob always at 10, wiper and input lug are one, and a bypass does nothing."
)


@shows_itself
@dataclass(frozen=True, eq=False)
class NeedReport:
    """Whether a rig and a way of playing need a bypass.

    Attributes
    ----------
    ear : Ear
        The rig and the conditions.
    found : Need
        The numbers.
    """

    ear: Ear
    found: Need

    @property
    def verdict(self) -> Needed:
        """In a word: no, hardly, probably or yes."""
        return self.found.verdict

    def blocks(self) -> tuple[Block, ...]:
        """The verdict, what helps, and tables of what the bare pot and other remedies do."""
        blocks: list[Block] = [*self.said(), "", self._table()]
        if self.found.remedies:
            blocks += ["", "Without a bypass", self._remedies()]
        return (*blocks, "", judged_by(self.ear))

    def said(self) -> list[str]:
        """The verdict in sentences."""
        if self.ear.conditions.player.plays == "full":
            return [ALWAYS_FULL]
        found = self.found
        bare = next(one for one in found.ranked if one.design.network is None)
        change = bare.figures.change
        said = [SAYS[self.verdict]]
        if self.verdict == "hardly" and change.brighter_db.mean() > change.duller_db.mean():
            said = [BRIGHTER]
        if self.verdict != "no":
            said += [
                f"At equal loudness it loses {found.loss_db:.1f} dB of treble at the worst of"
                f" {dials_in_words(bare.figures.dial)}. {where_heard(bare.figures)}",
                helps(found.first, bare),
            ]
        return said

    def _table(self) -> Table:
        found, change = self.found, self.found.shown.change
        rows = []
        for i, dial in enumerate(found.shown.dial):
            frequency, height = found.resonance_hz[i], found.resonance_db[i]
            peak = "none" if math.isnan(frequency) else f"{frequency:.0f} Hz, {height:+.1f} dB"
            heard = sounds(change.duller_db[i], change.brighter_db[i], bool(change.noticed[i]))
            rows.append(
                (
                    f"{dial:g}",
                    heard,
                    f"{change.duller_db[i]:.1f} dB",
                    f"{change.brighter_db[i]:.1f} dB",
                    f"{found.shown.level_phon[i]:+.1f} phon",
                    peak,
                )
            )
        head = ("dial", "sounds", "duller by", "brighter by", "loudness", "resonance")
        return Table(head, tuple(rows), words=2)

    def _remedies(self) -> Table:
        rows = tuple(
            (
                remedy.what,
                f"{remedy.loss_db:.1f} dB",
                f"{max(remedy.saves_db, 0.0):.1f} dB",
                "changes" if remedy.heard_at_ten else "stays",
            )
            for remedy in self.found.remedies
        )
        return Table(("remedy", "treble lost then", "saves", "sound at 10"), rows)

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        found = self.found
        return {
            "judged_by": conditions_plain(self.ear),
            "needed": found.verdict,
            "worst_duller_db": round(found.loss_db, 4),
            "first": found.first.design.name,
            "bare": figures_plain(found.shown),
            "resonance_hz": finite(found.resonance_hz, 1),
            "resonance_db": finite(found.resonance_db),
            "remedies": [
                {
                    "what": remedy.what,
                    "duller_db": round(remedy.loss_db, 4),
                    "saves_db": round(remedy.saves_db, 4),
                    "heard_at_ten": remedy.heard_at_ten,
                }
                for remedy in found.remedies
            ],
        }


def helps(first: Scored, bare: Scored) -> str:
    """Whether any built-in design is audibly nearer to the sound at 10."""
    if first is bare:
        return (
            "No built-in design keeps the sound audibly nearer to that at 10, all things weighed;"
            " the search for values (tailor) may find one."
        )
    return (
        f"Of the built-in designs {first.design.name} comes first,"
        f" {bare.score_db - first.score_db:.1f} dB nearer than the bare pot."
    )
