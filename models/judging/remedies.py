"""Remedies that need no bypass: what each would save, beside parts."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from presolder.models.hearing.change import NOTICED_DB, change
from presolder.models.instrument.controls import Load, Pot, ToneWiring
from presolder.models.instrument.quantities import format_code
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear

# Pots that shops have, and a buffer's input; common practice, no source.
_POTS_OHMS = (250e3, 500e3, 1e6)
_BUFFER = Load(1e6, 10e-12)


@dataclass(frozen=True)
class Remedy:
    """One thing to do instead of fitting a bypass.

    Attributes
    ----------
    what : str
        In words.
    loss_db : float
        Treble that would still be lost at the worst of the player's dials.
    saves_db : float
        How much less that is than now.
    heard_at_ten : bool
        Whether the guitar at 10 sounds different for it.
    """

    what: str
    loss_db: float
    saves_db: float
    heard_at_ten: bool


def remedies(ear: Ear) -> tuple[Remedy, ...]:
    """Reckon each remedy that the rig has room for.

    Parameters
    ----------
    ear : Ear
        The rig as it is.

    Returns
    -------
    tuple of Remedy
        The one that saves most first.

    Notes
    -----
    Each changed guitar is heard against itself at 10, as the present one is;
    what it does to the sound at 10 is told apart.
    """
    now = loss_db(ear)
    found = []
    for what, rig in _changed(ear.rig):
        other = Ear(rig, ear.conditions)
        then = loss_db(other)
        at_ten = ear.levels_db(other.bare_at_ten)
        heard = float(change(at_ten, ear.at_ten).largest_db) >= NOTICED_DB
        found.append(Remedy(what, then, now - then, heard))
    return tuple(sorted(found, key=lambda remedy: -remedy.saves_db))


def loss_db(ear: Ear) -> float:
    """Treble lost by the bare pot at the worst of the player's dials."""
    return float(ear.against_ten(ear.response(None, ear.conditions.dials)).duller_db.max())


def _changed(rig: Rig) -> Iterator[tuple[str, Rig]]:
    tone, volume = rig.nearest_tone, rig.volume
    if tone is not None:
        wiring: ToneWiring = "modern" if tone.wiring == "fifties" else "fifties"
        lug = "the input lug" if wiring == "modern" else "the wiper lug"
        yield f"the tone wire at {lug}", rig.with_tone(replace(tone, wiring=wiring))
    for ohms in _POTS_OHMS:
        if ohms != volume.resistance_ohms:
            pot = Pot(ohms, volume.taper)
            yield f"a {format_code(ohms, 'ohm')} volume pot", rig.with_volume(pot)
    if rig.cable_farads > 0:
        yield "a cable half as long", replace(rig, cable_farads=0.5 * rig.cable_farads)
    if rig.cable_farads > 0 and rig.buffer is None and rig.pedal is None:
        yield (
            "a buffer at the guitar's end of the cable",
            replace(rig, cable_farads=0.0, load=_BUFFER, dirt=None),
        )
