"""The pack's page: one HTML file with its style, script and audio inside."""

import base64
from importlib import resources
from typing import Any

import numpy as np
from markupsafe import Markup, escape

from presolder.models.instrument.law import DIAL_MAX
from presolder.models.instrument.network import network_in_words
from presolder.models.judging.merit import Merit, OverDial
from presolder.models.typing import Array
from presolder.render.listening.job import About, Dossier, Judged, PackJob
from presolder.render.listening.joined import joined
from presolder.render.report.advice import advice, spoilt_in_words
from presolder.render.report.figures import EQUAL, Comparison, figure_rows
from presolder.render.report.judged import (
    PLAYS_IN_WORDS,
    dials_in_words,
    judged_by,
    sounds_over_dials,
)
from presolder.render.report.template import filled

_WIDTH, _HEIGHT, _LEFT, _TOP = 220, 120, 26, 8
_FLOOR_DB, _CEILING_DB = -36.0, 12.0
# A difference of loudness level that is just noticed; common practice, no source.
NOTICED_PHON = 1.0
# Where the first half minute leaves the knob.
_LED_FROM, _LED_TO = 8.0, 6.0
_DULLER = "Listen for the pick on the strings: how bright each stroke begins."
_BRIGHTER = "Listen for the body of each stroke: it thins as the knob comes down."


def build_page(
    job: PackJob,
    about: About,
    copies: list[dict[str, Any]],
    live: dict[str, Any],
    reel: str = "",
) -> str:
    """Write the page.

    Parameters
    ----------
    job : PackJob
        What the pack is about.
    about : About
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
    lead = _lead(job, about)
    data = {
        "designs": [{"name": design.name, "heard": design.heard} for design in job.designs],
        "lead": lead,
        "sweep": {"times": job.contents.sweep.times_s, "dials": job.contents.sweep.dials},
        "dials": job.contents.held_at,
        "live": live,
        "take": live["take"],
        "pieces": [
            copy | {"audio": base64.b64encode(copy["audio"]).decode("ascii")} for copy in copies
        ],
    }
    return filled(
        "index.html.j2",
        designs=[_card(about, at) for at in range(len(job.designs))],
        situations=[
            {
                "index": index,
                "name": one.ear.situation,
                "left_out": one.left_out,
                "need": need_in_words(one),
                "judged": judged_by((one.ear,))[0],
            }
            for index, one in enumerate(about.judged)
        ],
        overall=None if about.overall is None else _overall(about.overall),
        dials=[f"{dial:g}" for dial in job.contents.held_at],
        recordings=job.embeds,
        reel=reel,
        lead=lead,
        take=live["take"],
        takes=live["takes"],
        feeding=live["situations"][0]["feeding"],
        dirts=live["dirts"],
        voices=["clean", "dirt"] if any(ear.rig.dirt for ear in job.ears) else ["clean"],
        workshop=job.contents.workshop,
        note=job.contents.note,
        style=Markup(_style()),
        script=Markup(joined("page")),
        thread=Markup(joined("thread")),
        bench=Markup(joined("bench")),
        data=data,
    )


def _lead(job: PackJob, about: About) -> dict[str, Any] | None:
    """What the first half minute leads through; None where the knob is left at 10."""
    bare = next((i for i, one in enumerate(job.designs) if one.network is None), None)
    if bare is None or len(job.designs) < 2:
        return None
    need = about.judged[0].need
    (figures,) = need.bare.figures
    below = [dial for dial in figures.dial.tolist() if dial < DIAL_MAX]
    if not below:
        return None
    # Not so far up that little is heard, nor so far down that little is left.
    dial = _LED_FROM if float(np.median(below)) > 0.5 * (_LED_FROM + _LED_TO) else _LED_TO
    gets_brighter = figures.over_dials(figures.change.brighter_db) > figures.over_dials(
        figures.change.duller_db
    )
    names = [one.name for one in job.designs]
    ahead = [one.design.name for one in need.ranked if one.design.network is not None]
    best = [] if about.first is None else [about.first.name]
    order = dict.fromkeys([*best, *ahead, *names])
    return {
        "dial": dial,
        "bare": bare,
        "listenFor": _BRIGHTER if gets_brighter else _DULLER,
        "designs": [i for name in order if name in names and (i := names.index(name)) != bare][:3],
    }


def _style() -> str:
    return resources.files("presolder.render.listening").joinpath("style.css").read_text("utf-8")


def _card(about: About, at: int) -> dict[str, Any]:
    """What the page says of a design, and of it in each situation."""
    first = about.judged[0].dossiers[at]
    design, sheet = first.design, first.sheet
    fitted = design.network is not None
    return {
        "name": design.name,
        "title": design.title or network_in_words(design.network),
        "expression": sheet.expression,
        "places": [_place(one, one.dossiers[at]) for one in about.judged],
        "sheet": sheet.context() | {"svg": sheet.svg} if fitted else None,
    }


def _place(one: Judged, its: Dossier) -> dict[str, Any]:
    ten_phon = float(one.ear.at_ten.phon)
    return {
        "chart": Markup(chart(its.over_dial, ten_phon, its.design.name)),
        "sentence": sentence(its.figures),
        "figures": figure_rows(its.figures),
    }


def _overall(found: Comparison) -> dict[str, Any]:
    """The designs over all situations, best first."""
    return {
        "said": found.said(),
        "head": ("all, by weight", *(ear.situation for ear in found.ears)),
        "rows": [
            (one.design.name, [f"{db:.1f}" for db in (one.score_db, *one.scores_db)])
            for one in found.ranked
        ],
        "meaning": EQUAL,
    }


def sentence(figures: Merit) -> str:
    """What to expect where the knob is left, from what is heard there."""
    heard, louder = sounds_over_dials(figures), figures.over_dials(figures.taper_shift_phon)
    level = "as loud as an ideal knob leaves it"
    if abs(louder) >= NOTICED_PHON:
        word = "louder" if louder > 0 else "softer"
        level = f"{abs(louder):.0f} phon {word} than an ideal knob leaves it"
    spoilt = "".join(f"; it {words}" for words in spoilt_in_words(figures))
    return f"With the knob at {dials_in_words(figures.dial)}: {heard}, {level}{spoilt}."


def need_in_words(one: Judged) -> str:
    """Whether a bypass helps this way of playing."""
    plays = PLAYS_IN_WORDS[one.ear.conditions.player.plays]
    return f"Does one help, {plays}? {' '.join(advice(one.ear, one.need))}"


def chart(figure: OverDial, ten_phon: float, name: str) -> str:
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
