"""The pack's page: one HTML file with its style, script and audio inside."""

import base64
import json
from typing import Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from presolder.models.character import Character, character
from presolder.models.merit import Merit, merit
from presolder.models.need import need
from presolder.models.network import format_network
from presolder.models.rig import Rig
from presolder.render.needwords import SAYS
from presolder.render.packpieces import PackJob, heard_rig, voices_of
from presolder.render.sheetfiles import sheet_context
from presolder.render.template import filled, page_part

_DIALS = np.linspace(0.5, 10.0, 39)
_WIDTH, _HEIGHT, _LEFT, _TOP = 220, 120, 26, 8
_FLOOR_DB, _CEILING_DB = -36.0, 12.0


def build_page(job: PackJob, copies: list[dict[str, Any]]) -> str:
    """Write the page.

    Parameters
    ----------
    job : PackJob
        What the pack is about.
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
    rig = heard_rig(job)
    bare = character(rig, None, _DIALS)
    designs = []
    for design in job.designs:
        figure = character(rig, design.network, _DIALS)
        designs.append(
            {
                "name": design.name,
                "expression": format_network(design.network),
                "chart": Markup(chart(figure)),
                "sentence": sentence(figure, bare),
                "figures": figure_rows(merit(rig, design.network)),
                "sheet": sheet_context(rig, design) if design.network is not None else None,
            }
        )
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
        designs=designs,
        need=need_in_words(rig),
        dials=[f"{dial:g}" for dial in job.dials],
        voices=voices_of(job),
        workshop=job.workshop,
        note=job.note,
        style=Markup(page_part("style.css")),
        script=Markup(page_part("player.js")),
        data=Markup(_inert(json.dumps(data))),
    )


def _inert(text: str) -> str:
    """JSON that cannot end its script element early."""
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


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


def figure_rows(figures: Merit) -> list[tuple[str, str]]:
    """Figures of merit as rows of a small table."""
    return [
        ("tone strays by", f"{figures.tone_rms_db:.1f} dB"),
        ("level shifts by", f"{figures.taper_rms_db:.1f} dB"),
        ("most treble excess", f"{figures.spike_db:.1f} dB"),
        ("dial 1 is below 10 by", f"{-figures.leftover_db:.0f} dB"),
    ]


def need_in_words(rig: Rig) -> str:
    """Whether someone who turns the knob down a little needs any bypass."""
    result = need(rig, "rolls-back", np.array([10.0]))
    return (
        "Is one needed, for a player who turns the knob down to 8, 7 or 6?"
        f" {SAYS[result.verdict]} The worst of these loses {result.worst_db:.1f} dB of treble."
    )


def chart(figure: Character) -> str:
    """Level and treble against dial as inline SVG; numbers only, no user text."""

    def points(values: NDArray[np.float64]) -> str:
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
