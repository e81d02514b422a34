"""The verify command: whether the finished guitar does what is predicted."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import InputError, place
from presolder.models.instrument.rig import Rig
from presolder.render.commands.completion import complete_designs
from presolder.render.commands.examples import examples
from presolder.render.commands.options import given_design, json_option, rig_option
from presolder.render.commands.output import say
from presolder.render.commands.texts import read_at_dial
from presolder.render.files.take import Take

DOES_NOT_FIT = 3
_TAKES = "the same phrase, played alike, with the input gain left alone"


@click.command(
    epilog=examples(
        "presolder verify --rig my-guitar.toml --take 10=a.wav --take 7=b.wav --take 4=c.wav",
        "presolder verify --design cap --take 10=ten.wav --take 5=five.wav --json",
    )
)
@rig_option
@click.option(
    "--design",
    "design_name",
    default="bare",
    show_default=True,
    shell_complete=complete_designs,
    help="Say which design is fitted.",
)
@click.option(
    "--take", "take_texts", multiple=True, required=True, metavar="DIAL=FILE",
    help=f"Take this recording at that dial: {_TAKES}. Repeat it, with 10 among them.",
)  # fmt: skip
@json_option
@click.pass_context
def verify(
    context: click.Context,
    rig: Rig,
    design_name: str,
    take_texts: tuple[str, ...],
    as_json: bool,
) -> None:
    """Compare recordings at several dials with the prediction.

    Says whether they fit, and if not, which faults agree with them.
    Exit status: 0 it fits, 3 it does not or that cannot be told, 2 something given cannot be used.
    """
    design = given_design(design_name)
    takes = read_takes(take_texts)
    with place("--take"):
        report = ps.verify(rig, takes, design)
    say(report, as_json)
    if report.found.verdict != "fits":
        context.exit(DOES_NOT_FIT)


def read_takes(texts: tuple[str, ...]) -> dict[float, Take]:
    """Recordings by dial from texts like ``7=seven.wav``.

    Raises
    ------
    InputError
        Naming the take.
    """
    takes: dict[float, Take] = {}
    for text in texts:
        dial, name = read_at_dial("--take", text, "DIAL=FILE, such as 7=seven.wav")
        if dial == 0 or dial in takes:
            reason = "is silent" if dial == 0 else "is given twice"
            raise InputError(f"--take {text!r}: dial {dial:g} {reason}")
        takes[dial] = ps.read(Path(name))
    return takes
