"""The pickup command: a pickup's inductance and capacitance from measurements of it."""

import math
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np

import presolder as ps
from presolder.models.errors import InputError, place
from presolder.models.instrument.controls import Load
from presolder.models.instrument.quantities import leaf_unit, parse_quantity
from presolder.models.measuring.coil import Impedance, Response
from presolder.models.typing import Array
from presolder.render.commands.completion import complete_rigs
from presolder.render.commands.examples import examples
from presolder.render.commands.options import json_option
from presolder.render.commands.output import progress_on_terminal, say
from presolder.render.commands.texts import read_component, read_number
from presolder.render.files.points import read_spectrum
from presolder.render.report.pickup import PickupReport


@click.command(
    epilog=examples(
        "presolder pickup --resistance 8.2k --bare-hz 6900 --loaded-hz 3100 --added 470p",
        "presolder pickup --resistance 8.2k --response bare.csv --response loaded.csv@470p",
        "presolder pickup --rig my-guitar.toml --played sweep.wav --recorded jack.wav",
    )
)
@click.option("--resistance", help="Give the winding's resistance, by ohmmeter.")
@click.option("--bare-hz", type=float, help="Give the frequency of the highest output, Hz.")
@click.option("--loaded-hz", type=float, help="Give the same with the added capacitor, Hz.")
@click.option("--added", help="Give the known capacitor across the pickup, such as 470p.")
@click.option(
    "--response", "response_texts", multiple=True, metavar="CSV[@LOAD]",
    help="Read a response from this CSV file of frequency_hz,gain_db; @470p or '@200k||470p' if"
    " that was added, with --rig also @dial=6. Repeatable.",
)  # fmt: skip
@click.option(
    "--impedance", "impedance_file", type=click.Path(path_type=Path),
    help="Read a measured impedance from this CSV file of frequency_hz,ohms,degrees.",
)  # fmt: skip
@click.option(
    "--played",
    type=click.Path(path_type=Path),
    help="Read the sweep that was played from this recording.",
)
@click.option(
    "--recorded", "recorded_texts", multiple=True, metavar="AUDIO[@LOAD]",
    help="Read what the pickup gave of the sweep; @ as for --response. Repeatable.",
)  # fmt: skip
@click.option(
    "--rig", "rig_name",
    shell_complete=complete_rigs,
    help="Take it as measured at the jack of this rig, controls connected, instead of"
    " --resistance.",
)  # fmt: skip
@click.option(
    "--exciter", type=click.Choice(["coil", "flat"]), default="coil", show_default=True,
    help="Say what drove it. coil: EMF rises with frequency, as with a small coil over the pickup."
    " flat: it does not. With two responses it drops out.",
)  # fmt: skip
@click.option(
    "--meter-resistance",
    default="1M",
    show_default=True,
    help="Give the resistance of the input that measured, or inf.",
)
@click.option(
    "--meter-capacitance",
    default="0",
    help="Give the capacitance of that input and its lead. [default: 0]",
)
@json_option
def pickup(
    resistance: str | None,
    bare_hz: float | None,
    loaded_hz: float | None,
    added: str | None,
    response_texts: tuple[str, ...],
    impedance_file: Path | None,
    played: Path | None,
    recorded_texts: tuple[str, ...],
    rig_name: str | None,
    exciter: str,
    meter_resistance: str,
    meter_capacitance: str,
    as_json: bool,
) -> None:
    """Find a pickup's inductance and capacitance.

    From two resonance readings (--bare-hz, --loaded-hz, --added), or by least
    squares from responses, recorded sweeps or an impedance.
    """
    given = (response_texts, recorded_texts, impedance_file, bare_hz is not None)
    if sum(bool(one) for one in given) != 1:
        raise InputError(
            "give one of: --bare-hz with --loaded-hz and --added; --response; --impedance;"
            " --played with --recorded"
        )
    rising = exciter == "coil"
    measured = [_response(text, rising) for text in response_texts]
    measured += _sweeps(played, recorded_texts, rising)
    if rig_name is not None:
        say(_at_the_jack(rig_name, resistance, measured), as_json)
        return
    if resistance is None:
        raise InputError("--resistance is missing: the winding's, by ohmmeter")
    ohms = read_component("--resistance", resistance, "ohm")
    meter = _meter(meter_resistance, meter_capacitance)
    if bare_hz is not None:
        report = _from_readings(ohms, bare_hz, loaded_hz, added, meter, rising)
    elif impedance_file is not None:
        across = Load(math.inf, meter.capacitance_farads)
        report = ps.coil_from_impedance(ohms, _impedance(impedance_file), across)
    else:
        report = ps.coil_from_responses(ohms, measured, meter)
    say(report, as_json)


def _at_the_jack(name: str, resistance: str | None, measured: list[Response]) -> PickupReport:
    if resistance is not None:
        raise InputError("--resistance is the rig's with --rig; give one of them")
    if not measured:
        raise InputError("--rig needs --response, or --played with --recorded")
    with progress_on_terminal("fitting") as progress:
        return ps.rig_from_responses(name, measured, progress=progress)


def _from_readings(
    ohms: float,
    bare_hz: float,
    loaded_hz: float | None,
    added: str | None,
    meter: Load,
    rising: bool,
) -> PickupReport:
    if loaded_hz is None or added is None:
        missing = "--loaded-hz" if loaded_hz is None else "--added"
        raise InputError(f"{missing} is missing; two readings need it")
    farads = read_component("--added", added, "farad")
    with place("--bare-hz, --loaded-hz, --added"):
        return ps.coil_from_readings(ohms, bare_hz, loaded_hz, farads, meter, rising=rising)


def _meter(ohms: str, farads: str) -> Load:
    with place("--meter-capacitance"):
        capacitance = parse_quantity(farads, "farad")
    with place(f"--meter-resistance {ohms}, --meter-capacitance {farads}"):
        resistance = math.inf if ohms == "inf" else parse_quantity(ohms, "ohm")
        return Load(resistance, capacitance)


@dataclass(frozen=True)
class _Measured:
    """A file of measurements, what was added, and where the volume stood."""

    path: Path
    load: Load
    dial: float = 10.0

    def response(self, hz: Array, gain_db: Array) -> Response:
        load = self.load
        return Response(hz, gain_db, load.capacitance_farads, load.resistance_ohms, self.dial)


def _split(text: str) -> _Measured:
    """A file, and what follows ``@``: parts that were added, or ``dial=6``."""
    if Path(text).exists():
        return _Measured(Path(text), Load())
    name, *tokens = text.split("@")
    ohms, farads, dial = math.inf, 0.0, 10.0
    pieces = [piece.strip() for token in tokens for piece in token.split("||")]
    for token in pieces:
        if token.startswith("dial="):
            dial = read_number(text, token.removeprefix("dial="))
        elif leaf_unit(token) == "ohm" and ohms == math.inf:
            ohms = read_component(text, token, "ohm")
        elif not farads:
            farads = read_component(text, token, "farad")
        else:
            raise InputError(f"{text}: after @ comes one capacitor, one resistor or R||C")
    return _Measured(Path(name), Load(ohms, farads), dial)


def _response(text: str, rising: bool) -> Response:
    measured = _split(text)
    with place(str(measured.path)):
        hz, gain_db = read_spectrum(measured.path, ("frequency_hz", "gain_db"))
        return measured.response(hz, gain_db - 20 * np.log10(hz) if rising else gain_db)


def _impedance(path: Path) -> Impedance:
    with place(str(path)):
        return Impedance(*read_spectrum(path, ("frequency_hz", "ohms", "degrees")))


def _sweeps(played: Path | None, recorded_texts: tuple[str, ...], rising: bool) -> list[Response]:
    if not recorded_texts:
        return []
    if played is None:
        raise InputError("--recorded needs --played, the sweep itself")
    sweep = ps.read(played)
    responses = []
    for text in recorded_texts:
        measured = _split(text)
        heard = ps.response_from_sweep(sweep, ps.read(measured.path), rising=rising)
        responses.append(measured.response(heard.frequency_hz, heard.gain_db))
    return responses
