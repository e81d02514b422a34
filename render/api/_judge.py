"""Judging: whether a bypass is needed, and designs by rank."""

from presolder._asked import (
    AS_USUAL,
    DesignsLike,
    Judging,
    Numbers,
    SituationsLike,
    asked_designs,
    asked_dials,
    asked_ears,
    asked_situations,
)
from presolder.models.judging.judged import ranked
from presolder.models.judging.recommendation import usual_ones
from presolder.models.judging.verdict import needs
from presolder.render.listening.comparisons import with_bare
from presolder.render.report.figures import Comparison
from presolder.render.report.need import NeedReport


def need(
    rig: SituationsLike,
    judging: Judging = AS_USUAL,
    *,
    shown_at: Numbers = (10.0, 9.0, 8.0, 7.0, 6.0, 4.0, 2.0),
) -> NeedReport:
    """Tell whether a bypass helps this player here, which one, and what else does.

    Parameters
    ----------
    rig : Rig, str, path or sequence of Situation
        Heard into what it really feeds: its dirt, if it has one. By name or file it is
        judged in all of its situations, their scores weighed together.
    judging : Judging
        What designs are judged by.
    shown_at : float or array_like, shape (d,)
        Dials above 0 to report.

    Returns
    -------
    NeedReport
        ``verdict`` in a word; ``found`` has the numbers of each situation.

    Raises
    ------
    InputError
        If a value is out of range, or the take is silent.

    Notes
    -----
    Loudness after ISO 532-1, sharpness after DIN 45692; docs/figures.md says how
    the verdict comes from them.

    Examples
    --------
    >>> import presolder as ps
    >>> ps.need("humbucker-500k", ps.Judging(plays="full")).verdict
    'no'
    >>> [one.verdict for one in ps.need("split-humbucker").found]
    ['yes', 'yes', 'yes']
    """
    ears = asked_ears(asked_situations(rig), judging)
    judged = usual_ones(ears)
    shown = asked_dials(shown_at, silent_ok=False)
    return NeedReport(ears, needs(ears, judged, shown), judged)


def compare(
    rig: SituationsLike, designs: DesignsLike | None = None, judging: Judging = AS_USUAL
) -> Comparison:
    """Rank designs by how well they keep the taper, the tone, or both.

    Parameters
    ----------
    rig : Rig, str, path or sequence of Situation
        Heard into what it really feeds: its dirt, if it has one. By name or file it is
        judged in all of its situations, their scores weighed together.
    designs : Design, str or iterable of them, optional
        Beside the bare pot; by default every built-in one, and where none of these is
        nearer than the bare pot, what the search finds that is.
    judging : Judging
        What designs are judged by.

    Returns
    -------
    Comparison
        ``ranked``, best first, with figures in dB and phon of each situation.

    Raises
    ------
    InputError
        If a value is out of range, or the take is silent.

    Notes
    -----
    As for `need`; over several situations scores are means by their weights.

    Examples
    --------
    >>> import presolder as ps
    >>> best = ps.compare("humbucker-500k", ["cap", "series"]).ranked[0]
    >>> best.design.name, best.nearer
    ('series', 100)
    """
    ears = asked_ears(asked_situations(rig), judging)
    if designs is None:
        return Comparison(ears, usual_ones(ears))
    chosen = asked_designs(designs, ears[0].rig)
    return Comparison(ears, ranked(ears, with_bare(chosen)))
