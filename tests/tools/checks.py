"""The checks against sources outside the project, one function a source.

Each returns rows for the validation page; the tests assert the limits, and
``docs/programs/make_validation.py`` writes the page from the same functions.
"""

from collections.abc import Callable
from functools import cache

from nulls import nulls

from check_row import Row
from checks_books import (
    attenuator,
    codes,
    corner,
    loaded_pot,
    loudness,
    preferred,
    resonance,
    tapers,
)
from checks_hearing import (
    annex_loudness,
    just_told_apart,
    narrow_band_sharpness,
    takes_by_library,
)
from checks_simulator import (
    lsoda,
    spice_ac,
    spice_transient,
    spice_two_pickups,
    spice_wirings,
    spice_wirings_moving,
    symbolic,
)
from checks_stages import spice_harmonics, spice_pedals, spice_stages, spice_working_points

CHECKS: tuple[Callable[[], list[Row]], ...] = (
    spice_ac,
    spice_two_pickups,
    spice_wirings,
    spice_transient,
    spice_wirings_moving,
    spice_stages,
    spice_pedals,
    spice_harmonics,
    spice_working_points,
    lsoda,
    symbolic,
    attenuator,
    loaded_pot,
    resonance,
    corner,
    preferred,
    codes,
    loudness,
    annex_loudness,
    narrow_band_sharpness,
    takes_by_library,
    just_told_apart,
    tapers,
    nulls,
)


@cache
def rows_of(check: Callable[[], list[Row]]) -> tuple[Row, ...]:
    return tuple(check())
