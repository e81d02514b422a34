"""The need command: whether a bypass is needed at all."""

import json
import math

import click
import numpy as np

from presolder.models.errors import InputError
from presolder.models.need import PLAYING, TREBLE_HZ, Need, Playing, need
from presolder.models.rig import Rig
from presolder.render.needwords import in_words
from presolder.render.options import json_option, parse_dials, rig_option
from presolder.render.rigfile import find_rig


@click.command("need")
@rig_option
@click.option(
    "--plays",
    "playing",
    type=click.Choice(PLAYING),
    default="rolls-back",
    show_default=True,
    help="What the knob is used for.",
)
@click.option("--dial", "dial_list", default="10,8,6,4,2", show_default=True, help="By commas.")
@json_option
def need_command(rig_name: str, playing: Playing, dial_list: str, as_json_text: bool) -> None:
    """Tell whether a rig and a way of playing need a bypass."""
    rig = find_rig(rig_name)
    dials = parse_dials(dial_list)
    if np.any(dials == 0):
        raise InputError("--dial 0 is silent and has no treble; it must be above 0")
    result = need(rig, playing, dials)
    click.echo(_as_json(rig, playing, result) if as_json_text else in_words(playing, result))


def _as_json(rig: Rig, playing: Playing, result: Need) -> str:
    rows = [
        {
            "dial": float(dial),
            "lost_db": {
                f"{hz:g}": round(float(db), 4) for hz, db in zip(TREBLE_HZ, lost, strict=True)
            },
            "resonance_hz": None if math.isnan(frequency) else round(float(frequency), 1),
            "resonance_db": None if math.isnan(height) else round(float(height), 4),
        }
        for dial, lost, frequency, height in zip(
            result.dial, result.lost_db, result.resonance_hz, result.resonance_db, strict=True
        )
    ]  # fmt: skip
    return json.dumps(
        {
            "rig": rig.name,
            "plays": playing,
            "needed": result.verdict,
            "worst_lost_db": round(result.worst_db, 4),
            "dials": rows,
        },
        indent=2,
    )
