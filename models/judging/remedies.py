"""Remedies that need no bypass: what each would do about the bare pot, beside parts."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from presolder.models.hearing.change import NOTICED_DB, change
from presolder.models.instrument.controls import Load, Pot, ToneWiring
from presolder.models.instrument.quantities import format_code
from presolder.models.instrument.rig import Rig
from presolder.models.judging.ear import Ear
from presolder.models.judging.merit import Merit, merit
from presolder.models.judging.ranking import EQUAL_DB, scores_of

# Pots that shops have, and a buffer's input; common practice, no source.
_POTS_OHMS = (250e3, 500e3, 1e6)
_BUFFER = Load(1e6, 10e-12)
# Before inputs of less than this, resistors that keep a rolled-down guitar from getting
# brighter; common practice, no source.
_LOW_INPUT_OHMS, _BEFORE_INPUT_OHMS = 150e3, (47e3, 100e3)


@dataclass(frozen=True, eq=False)
class Remedy:
    """One thing to do instead of fitting a bypass.

    Attributes
    ----------
    what : str
        In words.
    figures : Merit
        Of the bare pot in the guitar that is so changed, against itself at 10.
    nearer_db : float
        By how much its score is below that of the bare pot now.
    heard_at_ten : bool
        Whether the guitar at 10 sounds different for it.
    """

    what: str
    figures: Merit
    nearer_db: float
    heard_at_ten: bool

    @property
    def helps(self) -> bool:
        """Whether it is audibly nearer."""
        return self.nearer_db >= EQUAL_DB


def remedies(ear: Ear) -> tuple[Remedy, ...]:
    """Reckon each remedy that the rig has room for, by what reaches the input.

    Parameters
    ----------
    ear : Ear
        The rig as it is.

    Returns
    -------
    tuple of Remedy
        The one that is nearest first.

    Notes
    -----
    Each changed guitar is heard against itself at 10, as the present one is;
    what it does to the sound at 10 is told apart.
    """
    (now_db,) = scores_of((ear,), (merit(ear, None),))
    found = []
    for what, rig in _changed(ear.rig):
        other = Ear(rig, ear.conditions)
        figures = merit(other, None)
        (then_db,) = scores_of((other,), (figures,))
        at_ten = ear.levels_db(other.bare_at_ten)
        heard = float(change(at_ten, ear.at_ten).largest_db) >= NOTICED_DB
        found.append(Remedy(what, figures, now_db - then_db, heard))
    return tuple(sorted(found, key=lambda remedy: -remedy.nearer_db))


def _changed(rig: Rig) -> Iterator[tuple[str, Rig]]:
    tone, volume, load = rig.nearest_tone, rig.volume, rig.as_heard.load
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
    if load.stage is None and load.resistance_ohms < _LOW_INPUT_OHMS:
        for ohms in _BEFORE_INPUT_OHMS:
            # What lies behind it is all but a resistance there.
            behind = Load(load.resistance_ohms + ohms)
            yield (
                f"a {format_code(ohms, 'ohm')} resistor before the input",
                replace(rig, load=behind, dirt=None),
            )
