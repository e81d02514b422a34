"""At which dial a clipping stage turns clean."""

from dataclasses import replace

import numpy as np

from presolder._asked import (
    DesignsLike,
    DirtLike,
    Judging,
    Numbers,
    Progress,
    RigLike,
    TakeLike,
    asked_designs,
    asked_dials,
    asked_dirt,
    asked_ears,
    asked_rig,
    counted,
)
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import short_list
from presolder.models.instrument.instrument import Situation
from presolder.models.instrument.stage import Stage
from presolder.models.judging.judged import as_played
from presolder.models.judging.played import DIALS as PLAYED_DIALS
from presolder.models.judging.played import come_out, tones
from presolder.models.judging.ranking import all_scored, in_order
from presolder.models.judging.tones import REFERENCE_HZ, clean_up
from presolder.render.listening.after import After
from presolder.render.report.cleanup import CleanupReport

CLEANUP_DIALS = np.linspace(0.1, 10.0, 100)
_PLAYED_SECONDS = 2.0


def cleanup(
    rig: RigLike,
    designs: DesignsLike | None = None,
    *,
    dirt: DirtLike | None = None,
    tone_hz: float = REFERENCE_HZ,
    dials: Numbers | None = None,
    take: TakeLike | None = None,
    hum_db: float | None = None,
    progress: Progress | None = None,
) -> CleanupReport:
    """Tell at which dial each design's dirt turns clean, by tones and by playing.

    Parameters
    ----------
    rig : Rig or str
    designs : Design, str or iterable of them, optional
        By default the few built-in ones that are easily told apart.
    dirt : Dirt, Stage, str, path or callable, optional
        The curve or circuit; by default the rig's own, or a smooth curve.
    tone_hz : float
        The reference tone, 20 to 5000 Hz. It reaches a curve at dial 10 by the
        curve's drive past its knee; into a circuit it has a fifth of the
        pickup's output, as one string of a chord.
    dials : float or array_like, shape (d,), optional
        Rising positions above 0.
    take : Take, path, or array and rate, optional
        What is played, its loudest second; by default the bundled one that designs are
        judged and demonstrated by.
    hum_db : float, optional
        Hum and hiss, dB re the take's loudest second, -140 to 0.
    progress : callable, optional
        Called with the steps done since the last call, and all there are.

    Returns
    -------
    CleanupReport
        Distortion as a ratio, level and treble in dB, by dial; the same under
        playing, beside an ideal knob; and the designs by how near they are to that, as
        `compare` has it for who cleans up dirt.

    Raises
    ------
    InputError
        If a value is out of range.

    Notes
    -----
    Of tones: total harmonic distortion after IEC 60268-3, referred to the total
    output. Of playing: 1 less the coherence of output and take (Bendat and
    Piersol, Random Data, chapter 6).

    Examples
    --------
    >>> import presolder as ps
    >>> report = ps.cleanup("humbucker-500k", ["bare"], dirt=ps.dirt("smooth"))
    >>> float(report.figures[0].thd[-1].round(2))
    0.33
    """
    own = asked_rig(rig) if take is not None else asked_rig(rig).for_any_playing
    fed = replace(own, dirt=asked_dirt(dirt) or own.dirt)
    if not 20 <= tone_hz <= 5000:
        raise InputError(f"{tone_hz:g} must lie between 20 and 5000 Hz")
    After(hum_db=hum_db)
    heard = Judging("cleans-up-dirt", take=take)
    (ear,) = asked_ears((Situation("", fed),), heard)
    found, chosen_dirt = ear.rig, ear.dirt
    assert chosen_dirt is not None
    held = np.array(PLAYED_DIALS) if dials is None else asked_dials(dials, silent_ok=False)
    chosen = short_list(found) if designs is None else asked_designs(designs, found)
    if isinstance(chosen_dirt, Stage):
        told = counted(progress, held.size * (1 + len(chosen)))
        figures = tones(found, chosen, chosen_dirt, held, tone_hz, told)
    else:
        told = counted(progress, held.size)
        fine = CLEANUP_DIALS if dials is None else held
        figures = tuple(clean_up(found, one.network, chosen_dirt, fine, tone_hz) for one in chosen)
    out = come_out(ear, chosen, held, hum_db=hum_db, progress=told)
    judged = as_played((ear,), all_scored((ear,), chosen), (out,))
    order = tuple(chosen.index(one.design) for one in in_order(judged))
    return CleanupReport(ear, tone_hz, chosen, figures, out, judged, order)
