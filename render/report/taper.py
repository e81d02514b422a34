"""What an ohmmeter says of a pot, for people, programs and the rig file."""

from dataclasses import dataclass
from typing import Any

from presolder.models.instrument.law import BENT_TAPERS, Taper
from presolder.models.instrument.plausible import doubts
from presolder.models.instrument.quantities import format_quantity
from presolder.models.measuring.track import Track, tracking
from presolder.render.report.numbers import finite, rounded
from presolder.render.report.table import Block, Table, lines_of, shows_itself

_CAUTION = (
    "Unplug the guitar from everything while you measure; an ohmmeter and an amplifier do not mix."
)
# Sections of a dual pot that are further apart than this are remarked on: common practice.
_APART = 0.05


@shows_itself
@dataclass(frozen=True, eq=False)
class TaperReport:
    """A pot's track and taper, and how sure they are.

    Attributes
    ----------
    track : Track
    second : Track or None
        The other section of a dual pot.
    """

    track: Track
    second: Track | None = None

    def blocks(self) -> tuple[Block, ...]:
        """Values with their errors, the taper by dial, and lines for a rig file."""
        track = self.track
        rows = [_valued("track", track.track_ohms, track.track_error)]
        if track.winding_ohms is not None and track.winding_error is not None:
            rows.append(_valued("winding", track.winding_ohms, track.winding_error))
        if self.second is not None:
            rows.append(_valued("second track", self.second.track_ohms, self.second.track_error))
        found = Table(("", "value", "19 times of 20"), tuple(rows), words=3)
        by_dial = tuple(
            (
                f"{d:g}",
                format_quantity(float(f"{r:.4g}"), "ohm"),
                f"{100 * a:.1f} %",
                f"±{100 * e:.1f}",
            )
            for d, r, a, e in zip(
                track.dial, track.ohms, track.fraction, track.fraction_error, strict=True
            )
        )
        fractions = Table(("dial", "read", "of the track", ""), by_dial, words=0)
        return (
            found, *self.odd, self._law(), "", fractions, *self._tracking(), "",
            "For the rig file:", "", *self.toml(), "", _CAUTION,
        )  # fmt: skip

    @property
    def odd(self) -> tuple[str, ...]:
        """Which of the values pots and pickups do not have, in sentences."""
        second = None if self.second is None else self.second.track_ohms
        return doubts(
            ("volume pot", self.track.track_ohms),
            ("winding resistance", self.track.winding_ohms),
            ("second gang", second),
        )

    def _law(self) -> str:
        taper = self.track.taper
        if taper.kind == "measured":
            return "The readings fit no named taper; keep them as a file (--out taper.csv)."
        bend = f" with {taper.midpoint:.2f} at half" if taper.kind in BENT_TAPERS else ""
        return (
            f"The readings fit {_with_article(taper.kind)} track{bend}, as far as the meter tells."
        )

    def _tracking(self) -> tuple[str, ...]:
        if self.second is None:
            return ()
        apart = tracking(self.track, self.second)
        verdict = "more than is usual" if apart > _APART else "as is usual"
        return (f"The two sections are at most {100 * apart:.1f} % of the track apart, {verdict}.",)

    def toml(self, taper_file: str = "taper.csv") -> list[str]:
        """The keys of a rig file that were measured.

        Parameters
        ----------
        taper_file : str
            What the measured points are kept as.
        """
        track, lines = self.track, []
        if track.winding_ohms is not None:
            ohms = format_quantity(float(f"{track.winding_ohms:.3g}"), "ohm")
            lines += ["[pickup]", f'resistance = "{ohms}"', ""]
        ohms = format_quantity(float(f"{track.track_ohms:.3g}"), "ohm")
        lines += ["[volume]", f'resistance = "{ohms}"']
        if track.taper.kind == "measured":
            return [*lines, f'taper = "{taper_file}"']
        lines.append(f'taper = "{track.taper.kind}"')
        if track.taper.kind in BENT_TAPERS:
            lines.append(f"midpoint = {track.taper.midpoint:.3f}")
        return lines

    def csv(self) -> str:
        """The taper as a file for a rig."""
        points = zip(self.track.dial, self.track.fraction, strict=True)
        rows = [f"{dial:g},{fraction:.4f}" for dial, fraction in points]
        return "\n".join(["dial,fraction", *rows]) + "\n"

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        apart = None if self.second is None else round(tracking(self.track, self.second), 4)
        second = None if self.second is None else _track_plain(self.second)
        return {
            **_track_plain(self.track),
            "second": second,
            "apart": apart,
            "odd": list(self.odd),
        }


def _valued(name: str, ohms: float, error: float) -> tuple[str, str, str]:
    return name, format_quantity(float(f"{ohms:.3g}"), "ohm"), f"±{100 * error:.1f} %"


def _track_plain(track: Track) -> dict[str, Any]:
    return {
        "track_ohms": round(track.track_ohms, 1),
        "track_error": round(track.track_error, 4),
        "winding_ohms": rounded(track.winding_ohms, 1),
        "winding_error": rounded(track.winding_error),
        "dials": finite(track.dial),
        "ohms": finite(track.ohms),
        "fraction": finite(track.fraction),
        "fraction_error": finite(track.fraction_error),
        "law": None if track.taper.kind == "measured" else track.taper.kind,
        "midpoint": _midpoint(track.taper),
        "off_law": round(track.off_law, 3),
    }


def _with_article(kind: str) -> str:
    return f"an {kind}" if kind[0] in "aeiou" else f"a {kind}"


def _midpoint(taper: Taper) -> float | None:
    return round(float(taper.midpoint), 4) if taper.kind in BENT_TAPERS else None
