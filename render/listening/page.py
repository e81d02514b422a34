"""The pack's page: one HTML file with its style, script and audio inside."""

import base64
from importlib import resources
from typing import Any

import numpy as np
from markupsafe import Markup

from presolder.models.instrument.rig import Rig
from presolder.models.judging.character import Character, character
from presolder.models.judging.need import need
from presolder.models.typing import Array
from presolder.render.listening.job import CHART_DIALS, Dossier, PackJob
from presolder.render.report.figures import figure_rows
from presolder.render.report.need import SAYS
from presolder.render.report.template import filled

_WIDTH, _HEIGHT, _LEFT, _TOP = 220, 120, 26, 8
_FLOOR_DB, _CEILING_DB = -36.0, 12.0


def build_page(job: PackJob, about: tuple[Dossier, ...], copies: list[dict[str, Any]]) -> str:
    """Write the page.

    Parameters
    ----------
    job : PackJob
        What the pack is about.
    about : tuple of Dossier
        What to say of each design.
    copies : list of dict
        One per piece: ``design``, ``dial``, ``voice``, ``seconds``, ``trueDb``
        and ``matchedDb`` (gains from the copy to true and to matched level),
        and ``audio``, the bytes of a listening copy.

    Returns
    -------
    str
        HTML. Text from the user is escaped, and a policy in the page forbids
        every network request.
    """
    rig = job.heard_rig
    bare = character(rig, None, CHART_DIALS)
    data = {
        "designs": [{"name": design.name} for design in job.designs],
        "sweep": {"times": job.sweep.times_s, "dials": job.sweep.dials},
        "dials": job.dials,
        "pieces": [
            copy | {"audio": base64.b64encode(copy["audio"]).decode("ascii")} for copy in copies
        ],
    }
    return filled(
        "index.html.j2",
        designs=[_card(dossier, bare) for dossier in about],
        need=need_in_words(rig),
        dials=[f"{dial:g}" for dial in job.dials],
        voices=["clean"] if job.after.dirt is None else ["clean", "dirt"],
        workshop=job.workshop,
        note=job.note,
        style=Markup(_own_text("style.css")),
        script=Markup(_own_text("player.js")),
        data=data,
    )


def _own_text(name: str) -> str:
    return resources.files("presolder.render.listening").joinpath(name).read_text("utf-8")


def _card(dossier: Dossier, bare: Character) -> dict[str, Any]:
    """What the page says of a design."""
    sheet = dossier.sheet
    fitted = dossier.design.network is not None
    return {
        "name": dossier.design.name,
        "expression": sheet.expression,
        "chart": Markup(chart(dossier.character)),
        "sentence": sentence(dossier.character, bare),
        "figures": figure_rows(dossier.figures),
        "sheet": sheet.context() | {"svg": sheet.svg} if fitted else None,
    }


def sentence(figure: Character, bare: Character) -> str:
    """What to expect, computed from the curves at half-way and low dials."""
    at = {dial: int(np.argmin(np.abs(figure.dial - dial))) for dial in (3.0, 5.0)}
    lift = figure.level_db[at[5.0]] - bare.level_db[at[5.0]]
    treble = 0.5 * (figure.treble_db[at[3.0]] + figure.treble_db[at[5.0]])
    if treble < -2.0:
        tone = f"gets duller as it comes down (by {-treble:.0f} dB)"
    elif treble > 2.0:
        tone = f"gets brighter as it comes down (by {treble:.0f} dB)"
    else:
        tone = "keeps the brightness as it comes down"
    if lift < 0.5:
        level = "leaves the level as it was"
    else:
        level = f"lifts the level {f'by {lift:.0f} dB at 5' if lift >= 1 else 'a little'}"
    return f"It {tone}, and {level}."


def need_in_words(rig: Rig) -> str:
    """Whether someone who turns the knob down a little needs any bypass."""
    result = need(rig, "rolls-back", np.array([10.0]))
    return (
        "Is one needed, for a player who turns the knob down to 8, 7 or 6?"
        f" {SAYS[result.verdict]} The worst of these loses {result.worst_db:.1f} dB of treble."
    )


def chart(figure: Character) -> str:
    """Level and treble against dial as inline SVG; numbers only, no user text."""

    def points(values: Array) -> str:
        x = _LEFT + (_WIDTH - _LEFT - 4) * figure.dial / 10.0
        clipped = np.clip(values, _FLOOR_DB, _CEILING_DB)
        y = _TOP + (_HEIGHT - 26) * (_CEILING_DB - clipped) / (_CEILING_DB - _FLOOR_DB)
        return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))

    zero = _TOP + (_HEIGHT - 26) * _CEILING_DB / (_CEILING_DB - _FLOOR_DB)
    bottom = _HEIGHT - 18 + 0.0
    ticks = "".join(
        f'<text x="{_LEFT + (_WIDTH - _LEFT - 4) * d / 10:.1f}" y="{_HEIGHT - 5}"'
        f' text-anchor="middle">{d}</text>'
        for d in (0, 2, 4, 6, 8)
    )
    return (
        f'<svg class="chart" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img"'
        ' aria-label="Level and treble against dial, in decibels">'
        f'<line class="axis" x1="{_LEFT}" x2="{_WIDTH - 4}" y1="{zero:.1f}" y2="{zero:.1f}"/>'
        f'<text x="{_LEFT - 4}" y="{zero + 3:.1f}" text-anchor="end">0 dB</text>'
        f'<text x="{_LEFT - 4}" y="{bottom:.1f}" text-anchor="end">-36</text>{ticks}'
        f'<text x="{_WIDTH - 4}" y="{_HEIGHT - 5}" text-anchor="end">dial 10</text>'
        f'<polyline class="level" points="{points(figure.level_db)}"/>'
        f'<polyline class="treble" points="{points(figure.treble_db)}"/>'
        f'<text class="level-name" x="{_WIDTH - 60}" y="{bottom - 8:.1f}">level</text>'
        f'<text class="treble-name" x="{_WIDTH - 34}" y="{bottom - 8:.1f}">treble</text></svg>'
    )
