"""The pickup command: a pickup's inductance and capacitance from measurements of it."""

import json
from pathlib import Path

import click
import numpy as np

from presolder.models.coil import (
    Coil,
    Response,
    coil_from_readings,
    coil_from_responses,
    coil_response,
)
from presolder.models.errors import InputError, within
from presolder.models.quantities import (
    Unit,
    format_code,
    format_quantity,
    parse_quantity,
    require_component,
)
from presolder.models.rig import Load, Pickup
from presolder.models.swept import swept_response
from presolder.render.audio import read_recording
from presolder.render.options import json_option
from presolder.render.points import read_points

# Past this the model does not describe the coil, or the values are only guesses.
_MISFIT_DB, _UNSURE = 1.0, 0.1
_CAUTION = (
    "Measure with the guitar unplugged from any amplifier, into a recording input only;"
    " feed the exciter coil quietly."
)


@click.command("pickup")
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
    as_json_text: bool,
) -> None:
    """Find a pickup's inductance and capacitance.

    From two resonance readings (--bare-hz, --loaded-hz, --added), or by least
    squares from responses or recorded sweeps.
    """
    ohms = _component("--resistance", resistance, "ohm")
    meter = _meter(meter_resistance, meter_capacitance)
    readings = {"--bare-hz": bare_hz, "--loaded-hz": loaded_hz, "--added": added}
    sources = [bool(response_texts), bool(recorded_texts), bare_hz is not None]
    if sum(sources) != 1:
        raise InputError(
            "give one of: --bare-hz with --loaded-hz and --added; --response; --played with"
            " --recorded"
        )
    if bare_hz is not None:
        for option, value in readings.items():
            if value is None:
                raise InputError(f"{option} is missing; two readings need it")
        assert loaded_hz is not None and added is not None
        farads = _component("--added", added, "farad")
        try:
            coil = coil_from_readings(ohms, bare_hz, loaded_hz, farads, meter)
        except InputError as error:
            raise within(error, "--bare-hz, --loaded-hz, --added") from None
    else:
        if recorded_texts:
            responses = _sweeps(played, recorded_texts)
        else:
            responses = tuple(_response(text) for text in response_texts)
        if exciter == "coil":
            responses = tuple(
                Response(r.frequency_hz, r.gain_db - 20 * np.log10(r.frequency_hz), r.added_farads)
                for r in responses
            )
        coil = coil_from_responses(ohms, responses, meter)
    if as_json_text:
        click.echo(json.dumps(_as_json(coil), indent=2))
    else:
        click.echo(_in_words(coil, bare_hz is not None, len(response_texts + recorded_texts)))


def _meter(ohms: str, farads: str) -> Load:
    try:
        capacitance = parse_quantity(farads, "farad")
    except InputError as error:
        raise within(error, "--meter-capacitance") from None
    try:
        resistance = float("inf") if ohms == "inf" else parse_quantity(ohms, "ohm")
        return Load(resistance, capacitance)
    except InputError as error:
        raise within(error, f"--meter-resistance {ohms}, --meter-capacitance {farads}") from None


def _component(option: str, text: str, unit: Unit) -> float:
    try:
        value = parse_quantity(text, unit)
        require_component("value", value, unit)
    except InputError as error:
        raise within(error, f"{option} {text}") from None
    return value


def _split(text: str) -> tuple[Path, float]:
    """A file, and the capacitor after ``@`` if there is one."""
    name, at, value = text.rpartition("@")
    if not at or Path(text).exists():
        return Path(text), 0.0
    return Path(name), _component(text, value, "farad")


def _response(text: str) -> Response:
    path, farads = _split(text)
    points = read_points(path, ("frequency_hz", "gain_db"))
    inside = np.array([point for point in points if 100.0 <= point[0] <= 16_000.0])
    if len(inside) < 8:
        raise InputError(f"{path}: needs at least 8 points between 100 Hz and 16 kHz")
    return Response(inside[:, 0], inside[:, 1], farads)


def _sweeps(played: Path | None, recorded_texts: tuple[str, ...]) -> tuple[Response, ...]:
    if played is None:
        raise InputError("--recorded needs --played, the sweep itself")
    sweep = read_recording(played)
    responses = []
    for text in recorded_texts:
        path, farads = _split(text)
        recording = read_recording(path)
        if recording.sample_rate_hz != sweep.sample_rate_hz:
            raise InputError(
                f"{path}: sample rate {recording.sample_rate_hz} differs from that of {played},"
                f" {sweep.sample_rate_hz}"
            )
        try:
            hz, gain_db = swept_response(
                sweep.samples[0], recording.samples[0], sweep.sample_rate_hz
            )
        except InputError as error:
            raise within(error, str(path)) from None
        responses.append(Response(hz, gain_db, farads))
    return tuple(responses)


def _in_words(coil: Coil, from_readings: bool, measurements: int) -> str:
    pickup = coil.pickup
    because = "if a reading is 1 % off" if from_readings else "standard error"
    lines = [
        f"inductance   {format_quantity(pickup.inductance_henries, 'henry')}"
        f"   ±{100 * coil.inductance_error:.1f} % {because}",
        f"capacitance  {format_quantity(pickup.capacitance_farads, 'farad')}"
        f"   ±{100 * coil.capacitance_error:.1f} %",
    ]
    if not from_readings:
        lines.append(f"misfit       {coil.misfit_db:.2f} dB RMS between measurement and model")
        if coil.misfit_db > _MISFIT_DB:
            lines.append(
                "The model does not describe this measurement well; check --exciter and the meter."
            )
        if max(coil.inductance_error, coil.capacitance_error) > _UNSURE and measurements == 1:
            lines.append(
                "One response fixes little more than L times C: measure again with a known"
                " capacitor across the pickup, and give both."
            )
    lines += ["", "For the rig file:", "", *_toml(pickup), "", _CAUTION]
    return "\n".join(lines)


def _toml(pickup: Pickup) -> list[str]:
    lines = [
        "[pickup]",
        f'resistance = "{format_quantity(pickup.resistance_ohms, "ohm")}"',
        f'inductance = "{format_quantity(pickup.inductance_henries, "henry")}"',
        f'capacitance = "{format_quantity(pickup.capacitance_farads, "farad")}"',
    ]
    if pickup.eddy_ohms is not None:
        lines.append(f'eddy = "{format_code(float(f"{pickup.eddy_ohms:.2g}"), "ohm")}"')
    return lines


def _as_json(coil: Coil) -> dict[str, float | None]:
    pickup = coil.pickup
    hz = np.geomspace(500.0, 30_000.0, 20_001)
    free = np.abs(coil_response(pickup, hz, Load()))
    return {
        "resistance_ohms": pickup.resistance_ohms,
        "inductance_henries": pickup.inductance_henries,
        "capacitance_farads": pickup.capacitance_farads,
        "eddy_ohms": pickup.eddy_ohms,
        "inductance_error": coil.inductance_error,
        "capacitance_error": coil.capacitance_error,
        "misfit_db": coil.misfit_db,
        "unloaded_resonance_hz": round(float(hz[np.argmax(free)]), 1),
    }
