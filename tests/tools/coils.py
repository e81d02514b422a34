"""Pickups of all forms, and measurements of them with noise."""

from dataclasses import replace

import numpy as np

from presolder.models.circuit.coil import coil_response
from presolder.models.decibels import decibels
from presolder.models.instrument.controls import Load, Pickup
from presolder.models.measuring.coil import Response

METER = Load(1e6, 40e-12)
ADDED = 470e-12
HZ = np.geomspace(100, 16_000, 80)


def hung(meter: Load, added: float, ohms: float = np.inf) -> Load:
    """The meter with parts beside it."""
    siemens = 1 / meter.resistance_ohms + 1 / ohms
    return Load(1 / siemens if siemens else np.inf, meter.capacitance_farads + added)


def random_form(random: np.random.Generator, form: int) -> Pickup:
    """Without eddy loss, with it, or with leakage as well."""
    plain = Pickup(
        random.uniform(4e3, 15e3), random.uniform(1.5, 8), random.uniform(60e-12, 250e-12)
    )
    eddy = float(np.exp(random.uniform(np.log(5e4), np.log(1e6))))
    leakage = plain.inductance_henries * random.uniform(0.2, 0.7)
    return (
        plain,
        replace(plain, eddy_ohms=eddy),
        replace(plain, eddy_ohms=eddy, leakage_henries=leakage),
    )[form]


def measured(
    truth: Pickup, random: np.random.Generator, noise_db: float, part_error: float
) -> tuple[Response, ...]:
    """Bare and with 200k || 470p, by an exciter that rolls off and parts that are off."""
    rolling_off = -10 * np.log10(1 + (HZ / 2500) ** 2)
    responses = []
    for ohms, farads in ((np.inf, 0.0), (200e3, ADDED)):
        off = 1 + random.normal(0, part_error, 2)
        load = hung(METER, farads * off[0], ohms * off[1])
        gain = decibels(coil_response(truth, HZ, load)) + rolling_off
        noisy = gain + random.normal(0, noise_db, HZ.size) + random.uniform(-40, 0)
        responses.append(Response(HZ, noisy, farads, ohms))
    return tuple(responses)
