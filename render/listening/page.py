"""The pack's page: one HTML file with its style, script and audio inside."""

import base64
from importlib import resources
from typing import Any

import numpy as np
from markupsafe import Markup, escape

from presolder.models.instrument.network import network_in_words
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import Heard, Merit
from presolder.models.judging.need import need
from presolder.models.judging.situations import ranked_overall
from presolder.models.typing import Array
from presolder.render.listening.job import Dossier, PackJob, Setting
from presolder.render.listening.joined import joined
from presolder.render.report.everywhere import ComparisonEverywhere
from presolder.render.report.figures import EQUAL, figure_rows
from presolder.render.report.judged import (
    PLAYS_IN_WORDS,
    dials_in_words,
    judged_by,
    sounds_over_dials,
)
from presolder.render.report.need import NeedReport
from presolder.render.report.template import filled

_WIDTH, _HEIGHT, _LEFT, _TOP = 220, 120, 26, 8
_FLOOR_DB, _CEILING_DB = -36.0, 12.0
# A difference of loudness level that is just noticed; common practice, no source.
NOTICED_PHON = 1.0


def build_page(
    job: PackJob,
    about: tuple[tuple[Dossier, ...], ...],
    copies: list[dict[str, Any]],
    live: dict[str, Any],
    reel: str = "",
) -> str:
    """Write the page.

    Parameters
    ----------
    job : PackJob
        What the pack is about.
    about : tuple of tuple of Dossier
        What to say of each design, situation by situation.
    copies : list of dict
        One per piece: ``situation``, ``design``, ``dial``, ``voice``, ``seconds``, ``trueDb``
        and ``matchedDb`` (gains from the copy to true and to matched level),
        and ``audio``, the bytes of a listening copy.
    live : dict
        What the page's engine needs; see `live_data`.
    reel : str
        Where the reel lies beside the page, for browsers that run no script.

    Returns
    -------
    str
        HTML. Text from the user is escaped, and a policy in the page forbids
        every network request.
    """
    data = {
        "designs": [{"name": design.name} for design in job.designs],
        "sweep": {"times": job.sweep.times_s, "dials": job.sweep.dials},
        "dials": job.dials,
        "live": live,
        "take": job.recording.name,
        "pieces": [
            copy | {"audio": base64.b64encode(copy["audio"]).decode("ascii")} for copy in copies
        ],
    }
    return filled(
        "index.html.j2",
        designs=[_card(its, job.settings) for its in zip(*about, strict=True)],
        situations=[
            {
                "index": index,
                "name": one.name,
                "left_out": one.left_out,
                "need": need_in_words(one.ear),
                "judged": judged_by(one.ear),
            }
            for index, one in enumerate(job.settings)
        ],
        overall=_overall(job) if len(job.settings) > 1 else None,
        dials=[f"{dial:g}" for dial in job.dials],
        recordings=job.embeds,
        reel=reel,
        feeding=live["situations"][0]["feeding"],
        dirts=live["dirts"],
        voices=["clean", "dirt"] if any(one.after.dirt for one in job.settings) else ["clean"],
        workshop=job.workshop,
        note=job.note,
        style=Markup(_style()),
        script=Markup(joined("page")),
        thread=Markup(joined("thread")),
        bench=Markup(joined("bench")),
        data=data,
    )


def _style() -> str:
    return resources.files("presolder.render.listening").joinpath("style.css").read_text("utf-8")


def _card(its: tuple[Dossier, ...], settings: tuple[Setting, ...]) -> dict[str, Any]:
    """What the page says of a design, and of it in each situation."""
    design, sheet = its[0].design, its[0].sheet
    fitted = design.network is not None
    return {
        "name": design.name,
        "title": design.title or network_in_words(design.network),
        "expression": sheet.expression,
        "places": [
            {
                "chart": Markup(chart(one.heard, float(setting.ear.at_ten.phon), design.name)),
                "sentence": sentence(one.figures, fitted),
                "figures": figure_rows(one.figures),
            }
            for one, setting in zip(its, settings, strict=True)
        ],
        "sheet": sheet.context() | {"svg": sheet.svg} if fitted else None,
    }


def _overall(job: PackJob) -> dict[str, Any]:
    """The designs over all situations, best first."""
    found = ComparisonEverywhere(job.heard, ranked_overall(job.heard, job.designs))
    return {
        "said": found.said(),
        "head": ("all, by weight", *(one.name for one in job.settings)),
        "rows": [
            (
                one.design.name,
                [f"{db:.1f}" for db in (one.score_db, *(x.score_db for x in one.each))],
            )
            for one in found.ranked
        ],
        "meaning": EQUAL,
    }


def sentence(figures: Merit, fitted: bool) -> str:
    """What to expect where the knob is left, from what is heard there."""
    heard, louder = sounds_over_dials(figures), float(figures.taper_shift_phon.mean())
    if np.abs(figures.taper_shift_phon).max() < NOTICED_PHON:
        level = "with the level of the bare pot"
    else:
        level = f"{abs(louder):.0f} phon {'louder' if louder >= 0 else 'softer'} than the bare pot"
    than_bare = f", {level}" if fitted else ""
    return f"With the knob at {dials_in_words(figures.dial)}: {heard}{than_bare}."


def need_in_words(ear: Ear) -> str:
    """Whether this way of playing needs any bypass."""
    said = NeedReport(ear, need(ear, ear.conditions.dials)).said()
    plays = PLAYS_IN_WORDS[ear.conditions.player.plays]
    return f"Is one needed, {plays}? {' '.join(said)}"


def chart(figure: Heard, ten_phon: float, name: str) -> str:
    """Loudness and treble against dial as inline SVG, named after the design."""
    loudness = figure.phon - ten_phon
    treble = figure.change.brighter_db - figure.change.duller_db

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
        f' aria-label="{escape(name)}: loudness in phon and treble in decibels against dial">'
        f'<line class="axis" x1="{_LEFT}" x2="{_WIDTH - 4}" y1="{zero:.1f}" y2="{zero:.1f}"/>'
        f'<text x="{_LEFT - 4}" y="{zero + 3:.1f}" text-anchor="end">0</text>'
        f'<text x="{_LEFT - 4}" y="{bottom:.1f}" text-anchor="end">-36</text>{ticks}'
        f'<text x="{_WIDTH - 4}" y="{_HEIGHT - 5}" text-anchor="end">dial 10</text>'
        f'<polyline class="level" points="{points(loudness)}"/>'
        f'<polyline class="treble" points="{points(treble)}"/>'
        f'<text class="level-name" x="{_WIDTH - 84}" y="{bottom - 8:.1f}">loudness</text>'
        f'<text class="treble-name" x="{_WIDTH - 34}" y="{bottom - 8:.1f}">treble</text></svg>'
    )
