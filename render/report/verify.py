"""Whether a finished guitar does what was predicted, for people and programs."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from presolder.models.instrument.network import Design
from presolder.models.instrument.rig import Rig
from presolder.models.measuring.diagnosis import AT_TEN, Cause, Findings, in_figures
from presolder.models.measuring.telling import Reading
from presolder.models.measuring.third_octaves import BAND_HZ
from presolder.render.report.numbers import finite, ohms_text
from presolder.render.report.table import Block, Table, lines_of, shows_itself


def _one_decimal(db: float | None) -> str:
    """Decibels for the table; adding nought takes the sign from a negative one."""
    return "-" if db is None else f"{round(db, 1) + 0.0:.1f}"


def reading_text(asked: Reading) -> str:
    """Where to put the ohmmeter."""
    lugs = "from the volume pot's input lug to its wiper lug"
    where = {
        "jack": "at the jack from tip to sleeve",
        "lugs": lugs,
        "lugs with the pickup lifted": f"{lugs}, the pickup's hot lead lifted",
    }[asked.place]
    return (
        f"To tell them apart, nothing plugged in and the volume at {asked.dial:g}, read the ohms"
        f" {where}"
    )


@shows_itself
@dataclass(frozen=True, eq=False)
class VerifyReport:
    """What takes of a finished guitar say.

    Attributes
    ----------
    rig : Rig
    design : Design
        What was fitted.
    found : Findings
        The numbers.
    """

    rig: Rig
    design: Design
    found: Findings

    def blocks(self) -> tuple[Block, ...]:
        """The verdict, and level and treble as measured and as predicted."""
        found = self.found
        rows = tuple(
            (
                f"{dial:g}",
                *(_one_decimal(db) for both in figures for db in both.values()),
            )
            for dial, *figures in zip(found.dial, *self._figures(), strict=True)
        )
        head = ("dial", "level measured", "predicted", "treble measured", "predicted")
        return (
            *self._verdict(),
            "",
            Table(head, rows, words=0),
            f"dB against the first take; rig {self.rig.name}, design {self.design.name}",
        )

    def _verdict(self) -> tuple[str, ...]:
        found = self.found
        match found.verdict:
            case "fits":
                said = (
                    "It fits: at each dial level and shape are what the prediction, ordinary parts"
                    " and a player's wobble allow."
                )
                return (said, *self._caveats())
            case "cannot tell":
                said = (
                    "Nothing speaks against it at the dials recorded, but whether it fits cannot be"
                    f" told: {'; '.join(self._untold())}."
                )
                return (said, *self._caveats())
            case "unexplained":
                assert found.nearest is not None
                return (
                    f"It does not fit{self._where()}, and none of the {len(found.tried)} faults"
                    f" tried agrees with the takes; nearest: {found.nearest.text}. There may be two"
                    " at once: check the wiring, the takes and the rig file.",
                    *self._caveats(),
                )
            case "one cause":
                ways = "; or ".join(cause.text for cause in found.causes)
                return (
                    f"It does not fit{self._where()}. Of {len(found.tried)} faults tried, one"
                    f" agrees with the takes: {ways}.",
                    *self._caveats(),
                )
            case _:
                return (
                    f"It does not fit{self._where()}. Of {len(found.tried)} faults tried, these"
                    " agree with the takes, most plausible first:",
                    *(f"  - {cause.text}" for cause in found.causes),
                    *self._to_tell(),
                    *self._caveats(),
                )

    def _untold(self) -> list[str]:
        """Why it cannot be told, and what would mend it."""
        found, why = self.found, []
        if found.dial.max() < AT_TEN:
            why.append("no take was made at 10, where the guitar is heard without its bypass")
        if found.hidden:
            why.append(
                "the takes' own noise hides what would show that"
                f" {'; that '.join(found.hidden)}: record louder, or further from what hums"
            )
        return why

    def _where(self) -> str:
        off = self.found.off
        return f" at dial {', '.join(f'{dial:g}' for dial in off)}" if off else ""

    def _to_tell(self) -> list[str]:
        """How to tell the causes apart."""
        found, ways = self.found, []
        if found.ask_ohms is not None:
            asked = found.ask_ohms
            read = "; ".join(
                f"{ohms_text(ohms, figures=2, near_zero=1.0)} if {cause.text}"
                for ohms, cause in zip(asked.ohms, found.causes, strict=True)
            )
            ways.append(f"{reading_text(asked)}: {read}.")
        if found.ask_dial is not None and found.in_question is not None:
            one, other = (cause.text for cause in found.in_question)
            ways.append(f"A take at dial {found.ask_dial:g} would tell whether {one} or {other}.")
        return ways or [
            "No ohmmeter reading at the jack or the volume pot's lugs tells them apart clearly, nor"
            " a take at another dial; measure one of these parts with a lead lifted."
        ]

    def _caveats(self) -> list[str]:
        found, said = self.found, []
        if not found.treble:
            said.append(
                f"The takes hold nothing above {found.highest_hz:.0f} Hz that stands out of the"
                " noise: too little treble to judge by. Play brighter, or louder into the input."
            )
        if found.verdict in ("fits", "cannot tell") and found.unseen:
            said.append(f"These takes would fit as well if: {'; '.join(found.unseen)}.")
        return said

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, Any]:
        """For JSON."""
        found = self.found
        return {
            "rig": self.rig.name,
            "design": self.design.name,
            "verdict": found.verdict,
            "chi2": round(found.chi2, 3),
            "doubt_chi2": round(found.doubt_chi2, 3),
            "dials_off": list(found.off),
            "causes": [_cause_plain(cause) for cause in found.causes],
            "faults_tried": [_cause_plain(cause) for cause in found.tried],
            "nearest": None if found.nearest is None else found.nearest.text,
            "ask_ohms": None
            if found.ask_ohms is None
            else {
                "place": found.ask_ohms.place,
                "dial": found.ask_ohms.dial,
                "ohms": finite(np.array(found.ask_ohms.ohms), 1),
            },
            "ask_dial": found.ask_dial,
            "hidden": list(found.hidden),
            "unseen": list(found.unseen),
            "enough_treble": found.treble,
            "band_hz": [round(float(hz), 2) for hz in BAND_HZ],
            "takes": self._takes_plain(),
        }

    def _takes_plain(self) -> list[dict[str, Any]]:
        found = self.found
        levels, trebles = self._figures()
        return [
            {
                "dial": float(dial),
                "level_db": levels[i],
                "treble_db": trebles[i],
                "bands_measured_db": finite(found.measured_db[i], 3),
                "bands_predicted_db": finite(found.predicted_db[i], 3),
            }
            for i, dial in enumerate(found.dial)
        ]

    def _figures(self) -> tuple[list[dict[str, float | None]], list[dict[str, float | None]]]:
        """Level and treble of each take, measured and predicted; None where nothing is heard."""
        both = zip(
            in_figures(self.found.measured_db), in_figures(self.found.predicted_db), strict=True
        )
        levels, trebles = (
            [
                {"measured": seen, "predicted": told}
                for seen, told in zip(finite(measured, 3), finite(predicted, 3), strict=True)
            ]
            for measured, predicted in both
        )
        return levels, trebles


def _cause_plain(cause: Cause) -> dict[str, Any]:
    fault = cause.fault
    return {
        "text": cause.text,
        "look_at": fault.culprit,
        "kind": fault.kind,
        "described": fault.nominal if fault.values else None,
        "found": cause.value if fault.values else None,
        "chi2": round(cause.chi2, 3),
        "left_db": [finite(row, 3) for row in cause.left_db],
    }
