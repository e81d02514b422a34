"""Which pot and bypass give the turn that is wanted, for people and programs."""

from dataclasses import dataclass
from typing import Any

from presolder.models.hearing.change import NOTICED_DB
from presolder.models.instrument.controls import Pot
from presolder.models.instrument.network import format_network
from presolder.models.judging.ear import Ear
from presolder.models.judging.ranking import EQUAL_DB
from presolder.models.judging.turn import (
    ROTATION_DEGREES,
    Fitted,
    Turn,
    Wanted,
)
from presolder.render.report.judged import judged_by, situations_plain
from presolder.render.report.numbers import finite, rounded
from presolder.render.report.table import Block, Table, lines_of, shows_itself

_SHOWN_DIALS = (9.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0)


@shows_itself
@dataclass(frozen=True, eq=False)
class TravelReport:
    """Pots and bypasses by how near they come to the level wanted over the dial.

    Attributes
    ----------
    ears : tuple of Ear
        The guitar as it is in each situation, and the conditions.
    wanted : Wanted
    ranked : tuple of Fitted
        Best first.
    top : int
        How many are shown, beside the guitar as it is.
    """

    ears: tuple[Ear, ...]
    wanted: Wanted
    ranked: tuple[Fitted, ...]
    top: int

    @property
    def now(self) -> Fitted:
        """The guitar as it is, without a bypass."""
        return next(one for one in self.ranked if one.effort.parts == 0)

    @property
    def shown(self) -> tuple[Fitted, ...]:
        """The first ones."""
        return self.ranked[: self.top]

    def blocks(self) -> tuple[Block, ...]:
        """Which comes first, what its turn is like, and the others."""
        rows = [(str(rank), *self._cells(one)) for rank, one in enumerate(self.shown, start=1)]
        if self.now not in self.shown:
            rows.append(("", *self._cells(self.now)))
        head = ("rank", "pot", "design", "off by", "tone", "score", "usable", "dead at 10",
                "dead at 0", "sound at 10")  # fmt: skip
        levels = tuple(
            (self._named(one, at), *(f"{level:.0f}" for level in _levels(turn)))
            for one in dict.fromkeys((self.shown[0], self.now))
            for at, turn in enumerate(one.turns)
        )
        return (
            *self._said(),
            "",
            Table(head, tuple(rows), words=3),
            "",
            "Level in dB re dial 10, at dial",
            Table(("", *(f"{dial:g}" for dial in _SHOWN_DIALS)), levels),
            "",
            f"Wanted: {self.wanted.said}. Off by: root mean square, dB. Usable: from 3 to 30 dB"
            f" down; dead at 10: not yet 1 dB down, at 0: more than 60 dB down; of"
            f" {ROTATION_DEGREES:g} degrees.",
            f"Scores less than {EQUAL_DB:g} dB apart are equal; then what takes less to build comes"
            " first, and the pot that is there before another one.",
            *judged_by(self.ears),
        )

    def _said(self) -> tuple[str, ...]:
        first, now = self.ranked[0], self.now
        if first is now:
            return ("Nothing searched comes clearly nearer to that turn than the guitar as it is.",)
        said = [
            f"{_named(first)} comes first: {first.miss_db:.1f} dB off the level that is wanted,"
            f" the guitar as it is {now.miss_db:.1f} dB."
        ]
        if first.miss_db > now.miss_db:
            said.append(
                "That is further off, and first because the tone changes less:"
                f" {first.tone_db:.1f} dB for {now.tone_db:.1f}."
            )
        if first.at_ten_db >= NOTICED_DB:
            said.append("This pot by itself changes the sound at 10, so that ears notice.")
        off = first.untracked_db
        if off is not None:
            said.append(
                f"If its gangs do not track (20 % of value, 0.05 at half), the level is up to"
                f" {off:.1f} dB off."
            )
        return tuple(said)

    def _cells(self, one: Fitted) -> tuple[str, ...]:
        stays = one.pot == self.ears[0].rig.volume
        return (
            pot_text(one.pot) + (", as now" if stays else ""),
            format_network(one.network) or "bare",
            f"{one.miss_db:.1f}",
            f"{one.tone_db:.1f}",
            f"{one.score_db:.2f}",
            # Of several situations the worst.
            f"{min(turn.usable_degrees for turn in one.turns):.0f}\u00b0",
            f"{max(turn.dead_at_ten_degrees for turn in one.turns):.0f}\u00b0",
            f"{max(turn.dead_at_zero_degrees for turn in one.turns):.0f}\u00b0",
            "changes" if one.at_ten_db >= NOTICED_DB else "stays",
        )

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        return {
            "situations": situations_plain(self.ears),
            "wanted": {
                "said": self.wanted.said,
                "dials": finite(self.wanted.dial),
                "level_db": finite(self.wanted.level_db),
            },
            "now": self._plain(self.now),
            "best": [self._plain(one) for one in self.shown],
        }

    def _plain(self, one: Fitted) -> dict[str, Any]:
        pot = one.pot
        return {
            "pot": {
                "ohms": pot.resistance_ohms,
                "law": pot.taper.kind,
                "midpoint": pot.taper.midpoint,
                "as_now": pot == self.ears[0].rig.volume,
            },
            "expression": format_network(one.network) or None,
            "off_db": round(one.miss_db, 4),
            "tone_db": round(one.tone_db, 4),
            "score_db": round(one.score_db, 4),
            "at_ten_db": round(one.at_ten_db, 4),
            "untracked_db": rounded(one.untracked_db),
            "special_order": one.effort.special_order,
            "situations": {
                ear.name: _turn_plain(turn) for ear, turn in zip(one.ears, one.turns, strict=True)
            },
        }

    def _named(self, one: Fitted, at: int) -> str:
        where = f" ({self.ears[at].name})" if len(self.ears) > 1 else ""
        return _named(one) + where


def _turn_plain(turn: Turn) -> dict[str, Any]:
    return {
        "usable_degrees": round(turn.usable_degrees, 2),
        "dead_at_ten_degrees": round(turn.dead_at_ten_degrees, 2),
        "dead_at_zero_degrees": round(turn.dead_at_zero_degrees, 2),
        "dials": finite(turn.dial[9::10]),
        "level_db": finite(turn.level_db[9::10]),
    }


def pot_text(pot: Pot) -> str:
    """A pot in a few words."""
    return str(pot).replace(" at half)", ")")


def _named(one: Fitted) -> str:
    return f"{pot_text(one.pot)} with {format_network(one.network) or 'no bypass'}"


def _levels(turn: Turn) -> list[float]:
    return [float(turn.level_db[round(dial / 0.05) - 1]) for dial in _SHOWN_DIALS]
