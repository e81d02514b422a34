"""What a judgement of need says to people and programs."""

import math
from dataclasses import dataclass
from typing import Any, get_args

from presolder.models.judging.alike import GUITARS
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import Merit
from presolder.models.judging.ranking import Scored
from presolder.models.judging.verdict import Need, Needed
from presolder.render.report.advice import advice, named
from presolder.render.report.figures import scored_plain
from presolder.render.report.judged import (
    figures_plain,
    judged_by,
    situations_plain,
    situations_table,
    sounds,
    sounds_over_dials,
)
from presolder.render.report.numbers import finite
from presolder.render.report.table import Block, Table, lines_of, shows_itself

BESIDE = (
    "The bare pot beside the guitar at 10, only turned down: treble lost and gained as reaches the"
    " input, loudness re 10."
)


@shows_itself
@dataclass(frozen=True, eq=False)
class NeedReport:
    """Whether a bypass helps a rig and a way of playing, situation by situation.

    Attributes
    ----------
    ears : tuple of Ear
        The rig and the conditions, in each situation.
    found : tuple of Need
        The verdict and the numbers in each.
    ranked : tuple of Scored
        The bare pot and designs, best first, all situations weighed.
    """

    ears: tuple[Ear, ...]
    found: tuple[Need, ...]
    ranked: tuple[Scored, ...]

    @property
    def verdict(self) -> Needed:
        """In a word: no, hardly, probably or yes; of several situations the strongest."""
        words = get_args(Needed)
        return max((one.verdict for one in self.found), key=words.index)

    def blocks(self) -> tuple[Block, ...]:
        """The verdict, what helps, and tables of what the bare pot and other remedies do."""
        if len(self.ears) > 1:
            return (self._each(), "", self._over_all(), "", *judged_by(self.ears))
        (ear,), (found,) = self.ears, self.found
        blocks: list[Block] = [*advice(ear, found), "", _table(found), BESIDE]
        if found.remedies:
            blocks += ["", "Without a bypass", _remedies(found)]
        return (*blocks, "", *judged_by(self.ears))

    def _each(self) -> Table:
        cells = []
        for one in self.found:
            (bare,) = one.bare.figures
            lost, gained = bare.change.duller_db, bare.change.brighter_db
            numbers = (f"{bare.over_dials(each):.1f}" for each in (lost, gained))
            cells.append((one.verdict, *numbers, one.first.design.name))
        head = ("helps", "treble lost, dB", "gained", "first by itself")
        return situations_table(self.ears, head, cells)

    def _over_all(self) -> str:
        first = self.ranked[0]
        if first.design.network is None:
            return (
                "All situations weighed, no bypass is audibly nearer to the guitar at 10, only"
                " turned down, than the bare pot."
            )
        return (
            f"All situations weighed, {named(first.design)} comes first, nearer than the bare pot"
            f" on {first.nearer} of {GUITARS} guitars like yours; presolder tailor looks further."
        )

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "needed": self.verdict,
            "first": self.ranked[0].design.name,
            "situations": [
                plain | _need_plain(ear, one)
                for plain, ear, one in zip(
                    situations_plain(self.ears), self.ears, self.found, strict=True
                )
            ],
            "designs": [scored_plain(self.ears, one) for one in self.ranked],
        }


def _table(found: Need) -> Table:
    change = found.shown.change
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


def _remedies(found: Need) -> Table:
    (bare,) = found.bare.figures
    rows = [("as it is", sounds_over_dials(bare), *_lost_and_gained(bare), "", "")]
    rows += [
        (
            remedy.what,
            sounds_over_dials(remedy.figures),
            *_lost_and_gained(remedy.figures),
            f"{remedy.nearer_db:+.1f} dB" if remedy.helps else "no",
            "changes" if remedy.heard_at_ten else "stays",
        )
        for remedy in found.remedies
    ]
    head = ("remedy", "sounds", "duller by", "brighter by", "nearer", "sound at 10")
    return Table(head, tuple(rows), words=2)


def _lost_and_gained(figures: Merit) -> tuple[str, str]:
    change = figures.change
    return (
        f"{figures.over_dials(change.duller_db):.1f} dB",
        f"{figures.over_dials(change.brighter_db):.1f} dB",
    )


def _need_plain(ear: Ear, found: Need) -> dict[str, Any]:
    return {
        "needed": found.verdict,
        "said": list(advice(ear, found)),
        "first": found.first.design.name,
        "otherwise_by": list(found.otherwise_by),
        "as_good": [one.design.name for one in found.as_good],
        "bare": figures_plain(found.shown),
        "resonance_hz": finite(found.resonance_hz, 1),
        "resonance_db": finite(found.resonance_db),
        "remedies": [
            {
                "what": remedy.what,
                "helps": remedy.helps,
                "nearer_db": round(remedy.nearer_db, 4),
                "heard_at_ten": remedy.heard_at_ten,
                **figures_plain(remedy.figures),
            }
            for remedy in found.remedies
        ],
    }
