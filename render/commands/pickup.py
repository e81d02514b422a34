"""The pickup command: a pickup's inductance and capacitance from measurements of it."""

from pathlib import Path

import click
import numpy as np

import presolder as ps
from presolder.models.errors import InputError, place
from presolder.models.instrument.controls import Load
from presolder.models.instrument.quantities import parse_quantity
from presolder.models.measuring.coil import Response
from presolder.render.commands.options import json_option, read_component
from presolder.render.commands.output import say
from presolder.render.files.points import read_points
from presolder.render.report.pickup import PickupReport


@click.command()
@click.option("--resistance", required=True, help="Winding resistance, by ohmmeter.")
@click.option("--bare-hz", type=float, help="Frequency of the highest output.")
@click.option("--loaded-hz", type=float, help="The same with the added capacitor.")
@click.option("--added", help="The known capacitor across the pickup, such as 470p.")
@click.option(
    "--response", "response_texts", multiple=True, metavar="CSV[@CAP]",
    help="Measured frequency_hz,gain_db; @470p if a capacitor was added. Repeatable.",
)  # fmt: skip
@click.option("--played", type=click.Path(path_type=Path), help="The sweep that was played.")
@click.option(
    "--recorded", "recorded_texts", multiple=True, metavar="AUDIO[@CAP]",
    help="What the pickup gave of it; @470p if a capacitor was added. Repeatable.",
)  # fmt: skip
@click.option(
    "--exciter", type=click.Choice(["coil", "flat"]), default="coil", show_default=True,
    help="coil: EMF rises with frequency, as with a small coil over the pickup. flat: it does not.",
)  # fmt: skip
@click.option("--meter-resistance", default="1M", show_default=True, help="Of the input, or inf.")
@click.option("--meter-capacitance", default="0", help="Of the input and its lead. [default: 0]")
@json_option
def pickup(
    resistance: str,
    bare_hz: float | None,
    loaded_hz: float | None,
    added: str | None,
    response_texts: tuple[str, ...],
    played: Path | None,
    recorded_texts: tuple[str, ...],
    exciter: str,
    meter_resistance: str,
    meter_capacitance: str,
    as_json: bool,
) -> None:
    """Find a pickup's inductance and capacitance.

    From two resonance readings (--bare-hz, --loaded-hz, --added), or by least
    squares from responses or recorded sweeps.
    """
    ohms = read_component("--resistance", resistance, "ohm")
    meter = _meter(meter_resistance, meter_capacitance)
    if sum([bool(response_texts), bool(recorded_texts), bare_hz is not None]) != 1:
        raise InputError(
            "give one of: --bare-hz with --loaded-hz and --added; --response; --played with"
            " --recorded"
        )
    if bare_hz is not None:
        report = _from_readings(ohms, bare_hz, loaded_hz, added, meter)
    elif recorded_texts:
        report = ps.coil_from_responses(
            ohms, _sweeps(played, recorded_texts, exciter == "coil"), meter
        )
    else:
        measured = [_response(text, exciter == "coil") for text in response_texts]
        report = ps.coil_from_responses(ohms, measured, meter)
    say(report, as_json)


def _from_readings(
    ohms: float, bare_hz: float, loaded_hz: float | None, added: str | None, meter: Load
) -> PickupReport:
    if loaded_hz is None or added is None:
        missing = "--loaded-hz" if loaded_hz is None else "--added"
        raise InputError(f"{missing} is missing; two readings need it")
    farads = read_component("--added", added, "farad")
    with place("--bare-hz, --loaded-hz, --added"):
        return ps.coil_from_readings(ohms, bare_hz, loaded_hz, farads, meter)


def _meter(ohms: str, farads: str) -> Load:
    with place("--meter-capacitance"):
        capacitance = parse_quantity(farads, "farad")
    with place(f"--meter-resistance {ohms}, --meter-capacitance {farads}"):
        resistance = float("inf") if ohms == "inf" else parse_quantity(ohms, "ohm")
        return Load(resistance, capacitance)


def _split(text: str) -> tuple[Path, float]:
    """A file, and the capacitor after ``@`` if there is one."""
    name, at, value = text.rpartition("@")
    if not at or Path(text).exists():
        return Path(text), 0.0
    return Path(name), read_component(text, value, "farad")


def _response(text: str, rising: bool) -> Response:
    path, farads = _split(text)
    points = read_points(path, ("frequency_hz", "gain_db"))
    inside = np.array([point for point in points if 100.0 <= point[0] <= 16_000.0])
    if len(inside) < 8:
        raise InputError(f"{path}: needs at least 8 points between 100 Hz and 16 kHz")
    hz, gain_db = inside.T
    return Response(hz, gain_db - 20 * np.log10(hz) if rising else gain_db, farads)


def _sweeps(played: Path | None, recorded_texts: tuple[str, ...], rising: bool) -> list[Response]:
    if played is None:
        raise InputError("--recorded needs --played, the sweep itself")
    sweep = ps.read(played)
    responses = []
    for text in recorded_texts:
        path, farads = _split(text)
        responses.append(ps.response_from_sweep(sweep, ps.read(path), farads, rising=rising))
    return responses
