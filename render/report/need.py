"""What a judgement of need says to people and programs."""

import math
from dataclasses import dataclass
from typing import Any, get_args

from presolder.models.judging.ear import Ear
from presolder.models.judging.ranking import Scored
from presolder.models.judging.remedies import Remedy
from presolder.models.judging.verdict import Need, Needed
from presolder.render.report.figures import scored_plain
from presolder.render.report.judged import (
    dials_in_words,
    figures_plain,
    judged_by,
    situations_plain,
    situations_table,
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
    """Whether a rig and a way of playing need a bypass, situation by situation.

    Attributes
    ----------
    ears : tuple of Ear
        The rig and the conditions, in each situation.
    found : tuple of Need
        The numbers in each.
    remedies : tuple of tuple of Remedy
        In each, what needs no bypass, the one that saves most first; none where nothing
        is lost.
    ranked : tuple of Scored
        The bare pot and the built-in designs, best first, all situations weighed.
    """

    ears: tuple[Ear, ...]
    found: tuple[Need, ...]
    remedies: tuple[tuple[Remedy, ...], ...]
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
        (ear,), (found,), (remedies,) = self.ears, self.found, self.remedies
        blocks: list[Block] = [*needed_in_words(ear, found), "", _table(found)]
        if remedies:
            blocks += ["", "Without a bypass", _remedies(remedies)]
        return (*blocks, "", *judged_by(self.ears))

    def _each(self) -> Table:
        cells = [(one.verdict, f"{one.loss_db:.1f}", one.first.design.name) for one in self.found]
        head = ("needed", "treble lost, dB", "first by itself")
        return situations_table(self.ears, head, cells)

    def _over_all(self) -> str:
        first = self.ranked[0].design
        if first.network is None:
            return (
                "All situations weighed, nothing built in is audibly nearer to the sound at 10 than"
                " the bare pot."
            )
        return (
            f"All situations weighed, {first.name} comes first of what is built in; presolder"
            " tailor searches further."
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
                plain | _need_plain(one, its)
                for plain, one, its in zip(
                    situations_plain(self.ears), self.found, self.remedies, strict=True
                )
            ],
            "designs": [scored_plain(self.ears, one) for one in self.ranked],
        }


def needed_in_words(ear: Ear, found: Need) -> list[str]:
    """The verdict in sentences."""
    if ear.conditions.player.plays == "full":
        return [ALWAYS_FULL]
    bare = next(one for one in found.ranked if one.design.network is None)
    (figures,) = bare.figures
    said = [SAYS[found.verdict]]
    if found.verdict == "hardly" and (
        figures.change.brighter_db.mean() > figures.change.duller_db.mean()
    ):
        said = [BRIGHTER]
    if found.verdict != "no":
        said += [
            f"At equal loudness it loses {found.loss_db:.1f} dB of treble at the worst of"
            f" {dials_in_words(figures.dial)}. {where_heard(figures)}",
            helps(found.first, bare),
        ]
    return said


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


def _remedies(remedies: tuple[Remedy, ...]) -> Table:
    rows = tuple(
        (
            remedy.what,
            f"{remedy.loss_db:.1f} dB",
            f"{max(remedy.saves_db, 0.0):.1f} dB",
            "changes" if remedy.heard_at_ten else "stays",
        )
        for remedy in remedies
    )
    return Table(("remedy", "treble lost then", "saves", "sound at 10"), rows)


def _need_plain(found: Need, remedies: tuple[Remedy, ...]) -> dict[str, Any]:
    return {
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
            for remedy in remedies
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
