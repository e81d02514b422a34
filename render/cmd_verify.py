"""The verify command: whether the finished guitar does what was predicted."""

import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import numpy as np
from numpy.typing import NDArray

from presolder.models.bands import BAND_HZ, Spectrum, spectrum
from presolder.models.circuit import as_recorded
from presolder.models.errors import InputError, within
from presolder.models.quantities import format_quantity
from presolder.models.rig import require_dial
from presolder.models.verify import Cause, Findings, in_figures, verify, within_spread
from presolder.render.audio import read_recording
from presolder.render.designfile import resolve_design
from presolder.render.levels import finite
from presolder.render.options import json_option, rig_option
from presolder.render.rigfile import find_rig

_TAKES = "the same phrase, played alike, with the input gain left alone"


@click.command("verify")
@rig_option
@click.option("--design", "design_name", default="bare", show_default=True, help="What was fitted.")
@click.option(
    "--take", "take_texts", multiple=True, required=True, metavar="DIAL=FILE",
    help=f"A recording at that dial: {_TAKES}. Repeat, with 10 among them.",
)  # fmt: skip
@json_option
def verify_command(
    rig_name: str, design_name: str, take_texts: tuple[str, ...], as_json_text: bool
) -> None:
    """Compare recordings at several dials with the prediction.

    Says whether they fit, and if not, which one value explains them best.
    """
    rig = find_rig(rig_name)
    design = resolve_design(design_name)
    dials, spectra = read_takes(take_texts)
    try:
        findings = verify(as_recorded(rig), design.network, dials, spectra)
    except InputError as error:
        raise within(error, "--take") from None
    if as_json_text:
        click.echo(json.dumps(_as_json(rig.name, design.name, findings), indent=2))
    else:
        click.echo("\n".join(_in_words(findings)))


def read_takes(texts: tuple[str, ...]) -> tuple[NDArray[np.float64], list[Spectrum]]:
    """Dials and spectra from texts like ``7=seven.wav``.

    Raises
    ------
    InputError
        Naming the take.
    """
    dials: list[float] = []
    spectra = []
    rates = set()
    for text in texts:
        word, equals, name = text.partition("=")
        try:
            dial = float(word)
        except ValueError:
            dial = math.nan
        if not equals or math.isnan(dial):
            raise InputError(f"--take {text!r} must be DIAL=FILE, such as 7=seven.wav")
        require_dial("--take dial", dial)
        if dial == 0 or dial in dials:
            reason = "is silent" if dial == 0 else "is given twice"
            raise InputError(f"--take {text!r}: dial {dial:g} {reason}")
        recording = read_recording(Path(name))
        rates.add(recording.sample_rate_hz)
        if len(rates) > 1:
            raise InputError(f"{name}: all takes must have one sample rate, got {sorted(rates)}")
        try:
            spectra.append(spectrum(recording.samples.mean(axis=0), recording.sample_rate_hz))
        except InputError as error:
            raise within(error, name) from None
        dials.append(dial)
    return np.array(dials), spectra


def _in_words(findings: Findings) -> Iterator[str]:
    best = findings.causes[0]
    match findings.verdict:
        case "fits":
            yield "It fits: the guitar does what was predicted."
            if findings.unseen:
                yield (
                    f"These takes would not show a wrong value of: {', '.join(findings.unseen)}."
                    + _ask(findings)
                )
        case "explained":
            yield f"It does not fit. {value_text(best)} explains it, and nothing else does."
        case "undecided":
            rivals = findings.causes[: findings.rivals]
            yield (
                "It does not fit, and these takes cannot tell which of these is why: "
                + "; ".join(value_text(cause) for cause in rivals)
                + "."
            )
            yield (
                _ask(findings).strip()
                or "No take at another dial would tell; measure one of these parts directly."
            )
        case "unexplained":
            yield (
                "It does not fit, and no single value explains it; nearest:"
                f" {value_text(best)}. Check the wiring, the takes and the rig file."
            )
    yield ""
    yield "dial   level measured, predicted   treble measured, predicted"
    measured, predicted = in_figures(findings.measured_db), in_figures(findings.predicted_db)
    for i, dial in enumerate(findings.dial):
        yield (
            f"{dial:4g}{measured[0][i]:14.1f}{predicted[0][i]:13.1f}"
            f"{measured[1][i]:16.1f}{predicted[1][i]:12.1f}"
        )
    yield "dB against the first take"


def _ask(findings: Findings) -> str:
    if findings.ask_dial is None:
        return ""
    return f" A take at dial {findings.ask_dial:g} would tell."


def value_text(cause: Cause) -> str:
    """A cause with the value found and the one described."""
    if cause.kind == "midpoint":
        return f"taper midpoint {cause.value:.2f} instead of {cause.nominal:g}"
    what = "cable" if cause.kind == "cable" else "capacitor"
    return (
        f"{what} {format_quantity(float(f'{cause.value:.2g}'), 'farad')}"
        f" instead of {format_quantity(cause.nominal, 'farad')}"
    )


def _as_json(rig: str, design: str, findings: Findings) -> dict[str, Any]:
    measured, predicted = in_figures(findings.measured_db), in_figures(findings.predicted_db)
    return {
        "rig": rig,
        "design": design,
        "verdict": findings.verdict,
        "chi2": round(findings.chi2, 3),
        "doubt_chi2": round(findings.doubt_chi2, 3),
        "causes": [
            {
                "parameter": cause.name,
                "kind": cause.kind,
                "described": cause.nominal,
                "found": cause.value,
                "chi2": round(cause.chi2, 3),
                "within_usual_spread": within_spread(cause),
            }
            for cause in findings.causes
        ],
        "rivals": findings.rivals,
        "ask_dial": findings.ask_dial,
        "unseen": list(findings.unseen),
        "band_hz": [round(float(hz), 2) for hz in BAND_HZ],
        "takes": [
            {
                "dial": float(dial),
                "level_db": {
                    "measured": float(measured[0][i]),
                    "predicted": float(predicted[0][i]),
                },
                "treble_db": {
                    "measured": float(measured[1][i]),
                    "predicted": float(predicted[1][i]),
                },
                "bands_measured_db": finite(findings.measured_db[i], 3),
                "bands_predicted_db": finite(findings.predicted_db[i], 3),
            }
            for i, dial in enumerate(findings.dial)
        ],
    }
