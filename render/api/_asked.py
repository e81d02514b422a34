"""What callers may give for a rig or for designs, made into the real thing."""

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from presolder.models.errors import InputError
from presolder.models.hearing.bands import LINES_HZ
from presolder.models.hearing.material import Material, material
from presolder.models.instrument.built_in import built_in_designs, for_rig
from presolder.models.instrument.controls import require_dial
from presolder.models.instrument.dirt import ANY_KINDS, AnyDirt, Curve, Dirt, dirt_of
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.network import Design
from presolder.models.instrument.player import Player, Playing
from presolder.models.instrument.rig import Capture, Captured, Rig
from presolder.models.judging.ear import LISTENING_LEVEL_DB, Conditions, Ear
from presolder.models.typing import Array
from presolder.render.files.audio import read_recording
from presolder.render.files.designs import resolve_design
from presolder.render.files.dirt import read_dirt_file
from presolder.render.files.rig_file import find_rig, find_situations
from presolder.render.files.samples import read_sample
from presolder.render.files.speaker import load_speaker
from presolder.render.files.take import Take

# A recording, its file, or an array of samples with its rate.
TakeLike = Take | str | os.PathLike[str] | tuple[ArrayLike, float]
# A curve or a circuit, its name, a file of a curve's points, or a function of volts.
DirtLike = AnyDirt | Callable[[Array], ArrayLike] | str | os.PathLike[str]
RigLike = Rig | str | os.PathLike[str]
DesignLike = Design | str
DesignsLike = DesignLike | Iterable[DesignLike]
# A rig as it is; by name or file all of its situations; or such situations.
SituationsLike = RigLike | Sequence[Situation]
# Called with the steps done since the last call, and all there are.
Progress = Callable[[int, int], None]
Numbers = float | Sequence[float] | Array


def asked_rig(rig: RigLike) -> Rig:
    """A rig as it is, or by built-in name or file."""
    return rig if isinstance(rig, Rig) else find_rig(os.fspath(rig))


def asked_situations(rig: SituationsLike) -> tuple[Situation, ...]:
    """A rig's situations by built-in name or file; one that is given as it is has one.

    Raises
    ------
    InputError
        If there are none, or two of one name.
    """
    if isinstance(rig, Rig):
        return (Situation("", rig),)
    if isinstance(rig, str | os.PathLike):
        return find_situations(os.fspath(rig))
    found = tuple(rig)
    if not found:
        raise InputError("no situations are given; at least one is needed")
    _require_distinct("situation", (one.name for one in found))
    return found


def _require_distinct(kind: str, names: Iterable[str]) -> None:
    """Refuse names of which one is given twice."""
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise InputError(f"{kind} {name!r} is given twice")
        seen.add(name)


def asked_take(take: TakeLike) -> Take:
    """A recording as it is, from its file, or of an array and its rate.

    Raises
    ------
    InputError
        If it cannot be a take.
    """
    if isinstance(take, Take):
        return take
    if isinstance(take, str | os.PathLike):
        return read_recording(Path(take))
    if not isinstance(take, tuple) or len(take) != 2:
        raise InputError(f"take is a {type(take).__name__}; give a Take, a path, or (array, rate)")
    samples, rate = take
    return Take(samples, rate)  # type: ignore[arg-type]


def for_samples(one: Situation) -> Situation:
    """A situation for the bundled takes, which are a coil's raw EMF of all strings."""
    rig = replace(one.rig, take=Capture("string")).for_any_playing
    return Situation(one.name, rig, one.weight)


def asked_design(design: DesignLike, rig: Rig) -> Design:
    """A design as it is, or by built-in name or expression.

    The second gangs of built-in designs are like the rig's volume pot.
    """
    if not isinstance(design, Design | str):
        raise InputError(f"design is a {type(design).__name__}; give a Design, a name or values")
    found = design if isinstance(design, Design) else resolve_design(design)
    return for_rig(found, rig)


def asked_designs(designs: DesignsLike | None, rig: Rig) -> tuple[Design, ...]:
    """Designs with distinct names; None for every built-in one.

    Raises
    ------
    InputError
        If there are none, or one is given twice.
    """
    if designs is None:
        return built_in_designs(rig)
    if isinstance(designs, Design | str):
        designs = (designs,)
    found = tuple(asked_design(design, rig) for design in designs)
    if not found:
        raise InputError("no designs are given; at least one is needed")
    _require_distinct("design", (design.name for design in found))
    return found


# What is heard where no take is given: one that fits how the rig's takes are made.
_REFERENCE: dict[Captured, str] = {"jack": "phrase", "string": "string"}
_OF_STRING = ("string", "muted")
_SPEAKER_RATE_HZ = 48_000
# A curve that is a function is taken at these points, to 20 V.
_SAMPLES, _SAMPLED_TO, _SAMPLED_UNIT_VOLTS = 4001, 7.6, 0.02
NEAREST_TO_SILENCE = 0.001


@dataclass(frozen=True, eq=False)
class Judging:
    """What designs are judged by.

    Attributes
    ----------
    plays : {"full", "rolls-back", "swells", "cleans-up-dirt"}, optional
        What the player does with the knob; by default as the rig says.
    left_at : float or array_like, shape (d,), optional
        Dials above 0 where the knob is left; by default those of this way of playing.
    take : Take, path, or array and rate, optional
        What is heard; by default a bundled take.
    listening_level_db : float
        Of its loudest second at dial 10, dB SPL, 40 to 100.
    tone_weight : float, optional
        0 to keep the taper only, 1 to keep the tone only; by default as suits
        the way of playing.
    speaker : str, optional
        ``"plain"`` or the path of an impulse response to listen through.
    """

    plays: Playing | None = None
    left_at: Numbers | None = None
    take: TakeLike | None = None
    listening_level_db: float = LISTENING_LEVEL_DB
    tone_weight: float | None = None
    speaker: str | None = None


AS_USUAL = Judging()


@cache
def _bundled(name: str, *, of_string: bool = False) -> Material:
    take = read_sample(name)
    return material(
        take.samples, take.sample_rate_hz, f"bundled take {name!r}", of_string=of_string
    )


def reference_take(rig: Rig) -> str:
    """The name of the bundled take that a rig is judged and demonstrated by."""
    return _REFERENCE[rig.take.captured]


def _all_bundled(rig: Rig) -> tuple[Material, ...]:
    """What is played on guitars like this one: chords, single notes, and muted playing."""
    own = reference_take(rig)
    others = (name for name in _OF_STRING if name != own)
    return (_bundled(own), *(_bundled(name, of_string=True) for name in others))


def asked_player(rig: Rig, plays: Playing | None, left_at: Numbers | None) -> Player:
    """What is done with the knob: the rig's own, but for what is given."""
    player = rig.player
    if plays is not None and plays != player.plays:
        player = Player(plays)
    if left_at is not None:
        player = replace(player, own_dials=tuple(asked_dials(left_at, silent_ok=False).tolist()))
    return player


def asked_ears(situations: Iterable[Situation], judging: Judging) -> tuple[Ear, ...]:
    """A rig in each situation, and the conditions under which it is judged there.

    Raises
    ------
    InputError
        If a value is out of range, or the take is silent.
    """
    heard = power = None
    if judging.take is not None:
        take = asked_take(judging.take)
        heard = material(take.samples, take.sample_rate_hz, take.name)
    if judging.speaker is not None:
        speaker = load_speaker(judging.speaker, _SPEAKER_RATE_HZ)
        power = speaker.power_at(LINES_HZ, _SPEAKER_RATE_HZ)
    ears = []
    for one in situations:
        player = asked_player(one.rig, judging.plays, judging.left_at)
        weight = player.tone_weight if judging.tone_weight is None else judging.tone_weight
        conditions = Conditions(
            heard or _bundled(reference_take(one.rig)), player, weight,
            judging.listening_level_db, power, others=() if heard else _all_bundled(one.rig),
        )  # fmt: skip
        ears.append(Ear(one.rig, conditions, one.name, one.weight))
    return tuple(ears)


def asked_dials(dials: Numbers, *, silent_ok: bool = True) -> Array:
    """Dial positions, shape (d,).

    Raises
    ------
    InputError
        If one lies outside 0-10, or is 0 where silence says nothing.
    """
    array = _numbers("dial", dials)
    for dial in array:
        require_dial("dial", float(dial))
        if dial == 0 and not silent_ok:
            raise InputError("dial = 0 is silent; it must be above 0")
        if 0 < dial < NEAREST_TO_SILENCE:
            raise InputError(
                f"dial = {dial:g} is nearer to 0 than any hand turns; at least"
                f" {NEAREST_TO_SILENCE:g} is accepted"
            )
    return array


def _numbers(name: str, given: Numbers) -> Array:
    """One number or a row of them, as an array of one dimension."""
    try:
        array = np.atleast_1d(np.asarray(given))
    except ValueError:
        array = np.empty((0, 0))
    if array.ndim != 1 or array.size == 0 or array.dtype.kind not in "iuf":
        shown = " ".join(repr(given).split())[:40]
        raise InputError(f"{name} = {shown}: a number, or a row of some, is wanted")
    return array.astype(np.float64)


def asked_frequencies(hz: Numbers) -> Array:
    """Frequencies, shape (f,).

    Raises
    ------
    InputError
        If one is not above 0 and below 1 GHz.
    """
    array = _numbers("frequency", hz)
    if not np.all((array > 0) & (array < 1e9)):
        raise InputError("frequencies must be above 0 and below 1 GHz")
    return array


def counted(progress: Progress | None, total: int) -> Callable[[int], None]:
    """What the models call with steps done, made from what callers give."""
    if progress is None:
        return lambda _: None
    return lambda done: progress(done, total)


def asked_fed(situations: Iterable[Situation], dirt: DirtLike | None) -> tuple[Situation, ...]:
    """Situations that each feed the dirt that is given, or else their own.

    Raises
    ------
    InputError
        If there is no dirt of that name.
    """
    if dirt is None:
        return tuple(situations)
    given = None if dirt == "none" else asked_dirt(dirt)
    return tuple(replace(one, rig=replace(one.rig, dirt=given)) for one in situations)


def asked_dirt(dirt: DirtLike | None) -> AnyDirt | None:
    """A curve or circuit as it is, by its name, from a file, or a function of volts.

    Raises
    ------
    InputError
        If there is none of that name, or it is no clipping curve.
    """
    if callable(dirt):
        return Dirt(_sampled(dirt))
    if isinstance(dirt, os.PathLike) or (
        isinstance(dirt, str) and dirt.lower().endswith((".csv", ".cir"))
    ):
        return read_dirt_file(Path(dirt))
    if not isinstance(dirt, str):
        return dirt
    for kind in ANY_KINDS:
        if dirt == kind:
            return dirt_of(kind)
    raise InputError(
        f"dirt {dirt!r} is unknown; one of {', '.join(ANY_KINDS)}, a CSV file of"
        " volts_in,volts_out, or a netlist (.cir)"
    )


def _sampled(function: Callable[[Array], ArrayLike]) -> Curve:
    """A function of volts by its points, close together where it is small."""
    volts = np.sinh(np.linspace(-_SAMPLED_TO, _SAMPLED_TO, _SAMPLES)) * _SAMPLED_UNIT_VOLTS
    named = getattr(function, "__name__", "")
    name = named if named.isidentifier() else "own curve"
    out = np.asarray(function(volts), dtype=np.float64)
    if out.shape != volts.shape:
        raise InputError(f"{name}: gives the shape {out.shape} for {volts.shape}")
    return Curve(tuple(zip(volts.tolist(), out.tolist(), strict=True)), name)
