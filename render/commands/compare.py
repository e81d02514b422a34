"""The compare command: figures of merit of several designs, ranked by a preference."""

from pathlib import Path
from typing import Any

import click

import presolder as ps
from presolder.models.instrument.instrument import Situation
from presolder.render.commands.examples import examples
from presolder.render.commands.options import (
    design_options,
    gather_designs,
    json_option,
    judging_options,
    situations_option,
    speaker_option,
)
from presolder.render.commands.output import say


@click.command(
    epilog=examples(
        "presolder compare --rig my-guitar.toml",
        "presolder compare --design cap --design '150k || 1n' --keep taper",
        "presolder compare --designs drawer.toml --take take.wav --json",
    )
)
@situations_option
@design_options
@judging_options
@speaker_option
@json_option
def compare(
    situations: tuple[Situation, ...],
    design_names: tuple[str, ...],
    designs_file: Path | None,
    judged: dict[str, Any],
    speaker: str | None,
    as_json: bool,
) -> None:
    """Rank designs by how well they keep the taper, the tone, or both.

    As heard, at equal loudness; 'presolder docs figures' says how the figures come about.
    """
    rig = situations[0].rig
    designs = gather_designs(design_names, designs_file, rig)
    if len(situations) > 1:
        say(ps.compare_everywhere(situations, designs, speaker=speaker, **judged), as_json)
        return
    say(ps.compare(rig, designs, speaker=speaker, **judged), as_json)
