"""The cable command: a cable's capacitance from readings, responses or its length."""

from pathlib import Path

import click

import presolder as ps
from presolder.models.errors import InputError, place
from presolder.models.instrument.markings import read_length
from presolder.models.instrument.rig import Rig
from presolder.models.measuring.coil import Response
from presolder.models.measuring.jack import PICOFARADS_PER_M, CableKind, Hung, Resonance
from presolder.render.commands.examples import examples
from presolder.render.commands.options import json_option, rig_option
from presolder.render.commands.output import say
from presolder.render.commands.texts import read_component, read_number
from presolder.render.files.points import read_spectrum
from presolder.render.report.cable import CableReport

_HUNG = "what hung on the jack: cable, a capacitor such as 470p, cable+470p, or nothing after @"


@click.command(
    epilog=examples(
        "presolder cable --length '15 ft'",
        "presolder cable --rig my-guitar.toml --reading 2900@cable --reading 2350@cable+470p",
    )
)
@rig_option
@click.option(
    "--length",
    help="Tell what is typical of this length, such as 15 ft or 4.5 m, without measuring.",
)
@click.option(
    "--kind", type=click.Choice(list(PICOFARADS_PER_M)), default="ordinary", show_default=True,
    help="Say which kind of cable --length is of.",
)  # fmt: skip
@click.option(
    "--reading", "reading_texts", multiple=True, metavar="HZ@HUNG",
    help=f"Give the frequency of the highest output, exciter coil over the pickup, and {_HUNG}.",
)  # fmt: skip
@click.option(
    "--response", "response_texts", multiple=True, metavar="CSV@HUNG",
    help=f"Read a response from this CSV file of frequency_hz,gain_db, and {_HUNG}.",
)  # fmt: skip
@json_option
def cable(
    rig: Rig,
    length: str | None,
    kind: CableKind,
    reading_texts: tuple[str, ...],
    response_texts: tuple[str, ...],
    as_json: bool,
) -> None:
    """Find a cable's capacitance.

    From its length and kind; or measured at the guitar's jack, all knobs at 10,
    from two resonance readings or two responses: with the cable, and with a
    known capacitor or a cable of known capacitance on the jack.
    """
    if sum(map(bool, (length, reading_texts, response_texts))) != 1:
        raise InputError("give one of: --length; --reading, twice or more; --response, likewise")
    say(_found(rig, length, kind, reading_texts, response_texts), as_json)


def _found(
    rig: Rig,
    length: str | None,
    kind: CableKind,
    reading_texts: tuple[str, ...],
    response_texts: tuple[str, ...],
) -> CableReport:
    if length is not None:
        with place(f"--length {length}"):
            return ps.cable_by_length(read_length(length), kind)
    if reading_texts:
        readings = []
        for text in reading_texts:
            hz, _, hung = text.partition("@")
            readings.append(Resonance(read_number(f"--reading {text}", hz), _hung(text, hung)))
        with place("--reading"):
            return ps.cable_from_readings(rig, readings)
    with place("--response"):
        return ps.cable_from_responses(rig, [_response(text) for text in response_texts])


def _response(text: str) -> tuple[Response, Hung]:
    name, _, hung = text.rpartition("@")
    if not name:
        name, hung = text, ""
    path = Path(name)
    with place(str(path)):
        return Response(*read_spectrum(path, ("frequency_hz", "gain_db"))), _hung(text, hung)


def _hung(text: str, words: str) -> Hung:
    """What hung on the jack."""
    with_cable, farads = False, 0.0
    for word in (part.strip() for part in words.split("+")):
        if word == "cable":
            with_cable = True
        elif word:
            farads += read_component(text, word, "farad")
    return Hung(with_cable, farads)
