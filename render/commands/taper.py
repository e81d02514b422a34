"""The taper command: a pot's track and taper from an ohmmeter's readings."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import InputError, place
from presolder.models.instrument.quantities import parse_quantity
from presolder.models.instrument.rig import VOLUME_WIRINGS, VolumeWiring
from presolder.render.commands.examples import examples
from presolder.render.commands.options import given_design, json_option
from presolder.render.commands.output import new_text, only_this, say
from presolder.render.commands.texts import read_at_dial
from presolder.render.files.standard import STANDARD
from presolder.render.report.taper import TaperReport


@click.command(
    epilog=examples(
        "presolder taper --ohms 10=8.1k --ohms 8=170k --ohms 6=135k --ohms 4=80k --ohms 2=35k",
        "presolder taper --lugs --ohms 10=480k --ohms 7=170k --ohms 5=72k --ohms 3=30k --ohms 1=9k",
    )
)
@click.option(
    "--ohms", "read_texts", multiple=True, required=True, metavar="DIAL=OHMS",
    help="Give a reading, such as 7=96k; repeat, with 10 among them and best one at each number.",
)  # fmt: skip
@click.option(
    "--lugs", is_flag=True,
    help="Read between ground lug and wiper lug with their leads off, not at the jack.",
)  # fmt: skip
@click.option(
    "--second", "second_texts", multiple=True, metavar="DIAL=OHMS",
    help="Give the same of a dual pot's other section; needs --lugs.",
)  # fmt: skip
@click.option(
    "--wiring", type=click.Choice(VOLUME_WIRINGS), default="lug", show_default=True,
    help="Say how it is wired. lug: the pickup is at the volume pot's input lug; independent: at"
    " its wiper.",
)  # fmt: skip
@click.option("--fitted", default="bare", show_default=True, help="Say which bypass is fitted.")
@click.option("--meter", default=1.0, show_default=True, help="Give the ohmmeter's error, percent.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Write the taper as a CSV file for a rig; - is standard output.",
)
@click.option("--force", is_flag=True, help="Replace a file that exists.")
@json_option
def taper(
    read_texts: tuple[str, ...],
    lugs: bool,
    second_texts: tuple[str, ...],
    wiring: VolumeWiring,
    fitted: str,
    meter: float,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Find a pot's track and taper from an ohmmeter's readings.

    At the jack, tip to sleeve, nothing plugged in and one pickup on, the guitar
    stays closed, and the pickup's winding is found along with them.
    """
    if not 0.01 <= meter <= 10:
        raise InputError(f"--meter {meter:g} must lie between 0.01 and 10 percent")
    if second_texts and not lugs:
        raise InputError("--second needs --lugs: at the jack one section is seen")
    alone = only_this(as_json, force=force, out=out)
    report = _found(read_texts, second_texts, lugs, wiring, fitted, meter / 100.0)
    if out is not None:
        if out.suffix.lower() != ".csv" and out != STANDARD:
            raise InputError(f"--out {str(out)!r} must end in .csv")
        with new_text(out, force=force) as file:
            file.write(report.csv())
    if not alone:
        say(report, as_json)


def _found(
    read_texts: tuple[str, ...],
    second_texts: tuple[str, ...],
    lugs: bool,
    wiring: VolumeWiring,
    fitted: str,
    meter_error: float,
) -> TaperReport:
    readings = _readings("--ohms", read_texts)
    with place("--ohms"):
        if not lugs:
            design = given_design(fitted)
            return ps.taper_at_jack(readings, wiring=wiring, fitted=design, meter_error=meter_error)
        second = _readings("--second", second_texts) if second_texts else None
        return ps.taper_at_lugs(readings, second, meter_error=meter_error)


def _readings(option: str, texts: tuple[str, ...]) -> dict[float, float]:
    """Ohms by dial."""
    readings: dict[float, float] = {}
    for text in texts:
        dial, value = read_at_dial(option, text, "DIAL=OHMS, such as 7=96k")
        with place(f"{option} {text}"):
            ohms = parse_quantity(value, "ohm")
        if dial in readings:
            raise InputError(f"{option} {text!r}: dial {dial:g} is given twice")
        readings[dial] = ohms
    return readings
