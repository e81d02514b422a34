"""At which dial a clipping stage turns clean."""

from dataclasses import replace

import numpy as np

from presolder._asked import (
    DesignsLike,
    DirtLike,
    Numbers,
    Progress,
    RigLike,
    TakeLike,
    asked_designs,
    asked_dials,
    asked_dirt,
    asked_rig,
    asked_take,
    counted,
)
from presolder._describe import sample
from presolder.models.errors import InputError
from presolder.models.instrument.built_in import short_list
from presolder.models.instrument.dirt import Dirt
from presolder.models.instrument.stage import Stage
from presolder.models.judging.played import DIALS as PLAYED_DIALS
from presolder.models.judging.played import played, tones
from presolder.models.judging.tones import REFERENCE_HZ, clean_up
from presolder.render.files.take import Take
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
        By default every built-in one; into a circuit, the few easily told apart.
    dirt : Dirt, Stage, str, path or callable, optional
        The curve or circuit; by default the rig's own, or a smooth curve.
    tone_hz : float
        The reference tone, 20 to 5000 Hz. It reaches a curve at dial 10 by the
        curve's drive past its knee; into a circuit it has a fifth of the
        pickup's output, as one string of a chord.
    dials : float or array_like, shape (d,), optional
        Rising positions above 0.
    take : Take, path, or array and rate, optional
        What is played; by default two seconds of a bundled one.
    hum_db : float, optional
        Hum and hiss, dB re the take's loudest second, -140 to 0.
    progress : callable, optional
        Called with the steps done since the last call, and all there are.

    Returns
    -------
    CleanupReport
        Distortion as a ratio, level and treble in dB, by dial; the same under
        playing; and the order in which the designs clean up.

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
    found = asked_rig(rig)
    if take is None:
        found = found.for_any_playing
    chosen_dirt = asked_dirt(dirt) or found.dirt or Dirt("smooth")
    if not 20 <= tone_hz <= 5000:
        raise InputError(f"{tone_hz:g} must lie between 20 and 5000 Hz")
    given = None if dials is None else asked_dials(dials, silent_ok=False)
    held = np.array(PLAYED_DIALS) if given is None else given
    if isinstance(chosen_dirt, Stage):
        few = designs is None
        chosen = short_list(found.volume) if few else asked_designs(designs, found)
        told = counted(progress, held.size * (1 + len(chosen)))
        figures = tones(found, chosen, chosen_dirt, held, tone_hz, told)
    else:
        chosen, told = asked_designs(designs, found), counted(progress, held.size)
        fine = CLEANUP_DIALS if given is None else given
        figures = tuple(clean_up(found, one.network, chosen_dirt, fine, tone_hz) for one in chosen)
    heard = _phrase() if take is None else asked_take(take)
    after = After(hum_db=hum_db).loaded(chosen_dirt, heard.sample_rate_hz)
    under = played(found, chosen, after, heard.samples, heard.sample_rate_hz, held, told)
    return CleanupReport(found, chosen_dirt, tone_hz, chosen, figures, heard.name, under)


def _phrase() -> Take:
    """What is played where no take is given: the beginning of a bundled one."""
    bundled = sample("chords")
    count = round(_PLAYED_SECONDS * bundled.sample_rate_hz)
    return replace(bundled, samples=bundled.samples[:, :count])
