"""Exchange with other programs: netlists and impulse responses."""

import os
from pathlib import Path
from typing import Any

from presolder._asked import (
    DesignLike,
    DesignsLike,
    Numbers,
    RigLike,
    asked_design,
    asked_dials,
    asked_rig,
)
from presolder._curves import curves as response_curves
from presolder.models.circuit.netlist import netlist as as_netlist
from presolder.render.files.folder import require_free_folder
from presolder.render.files.take import require_rate
from presolder.render.listening.exchange import write_exchange


def netlist(rig: RigLike, design: DesignLike, dial: float = 10.0) -> str:
    """Write a rig with a design, its knob at rest, as a SPICE netlist.

    Parameters
    ----------
    rig : Rig or str
        With dirt that is a circuit, that circuit is part of it.
    design : Design or str
    dial : float
        Where the volume knob stands.

    Returns
    -------
    str
        The text of a ``.cir`` file: an AC analysis that a simulator runs as it is.

    Raises
    ------
    InputError
        If something given cannot be used.

    Notes
    -----
    Cards of SPICE2 (Nagel, Memorandum ERL-M520, University of California, Berkeley, 1975).

    Examples
    --------
    >>> import presolder as ps
    >>> ps.netlist("humbucker-500k", "cap", 7).splitlines()[0]
    '* humbucker-500k, 120p, volume knob at 7'
    """
    found = asked_rig(rig)
    stands = float(asked_dials(dial)[0])
    return as_netlist(found, asked_design(design, found).network, stands)


def export(
    out: str | os.PathLike[str],
    rig: RigLike,
    designs: DesignsLike | None = None,
    held_at: Numbers = (10.0, 8.0, 6.0, 4.0, 2.0),
    *,
    sample_rate_hz: int = 48_000,
    force: bool = False,
) -> dict[str, Any]:
    """Write what other programs read: netlists, impulse responses, responses as CSV.

    Parameters
    ----------
    out : str or path
        Folder to make.
    rig : Rig or str
        How its takes are made says what the impulse responses are for: the EMF itself, or
        takes at the jack, whose chain they take away first. Dirt is in the netlists if it
        is a circuit, and in all of them what it puts on the guitar.
    designs : Design, str or iterable of them, optional
        By default every built-in one.
    held_at : float or array_like, shape (d,)
        Dials above 0.
    sample_rate_hz : int
        Of the impulse responses, 44,100 to 192,000.
    force : bool
        Whether files in the folder may be replaced.

    Returns
    -------
    dict
        The manifest, as in ``manifest.json``; by ``delay_samples`` the impulse responses
        begin before the take's own instant.

    Raises
    ------
    InputError
        If something given cannot be used. Nothing is left behind then.

    Notes
    -----
    Impulse responses are as short as they can be with all that is left out 100 dB below
    what is kept, at every frequency.

    Examples
    --------
    >>> import tempfile, presolder as ps
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     made = ps.export(f"{folder}/out", "humbucker-500k", ["cap"], [7])
    >>> made["files"][0]["netlist"], made["files"][0]["impulse"]
    ('netlists/cap_dial-07.cir', 'impulses/cap_dial-07.wav')
    """
    require_free_folder(Path(out), force=force)
    require_rate("sample_rate_hz", sample_rate_hz)
    found = asked_rig(rig).as_heard
    dials = asked_dials(held_at, silent_ok=False)
    curves = response_curves(found, designs, dials)
    return write_exchange(Path(out), found, curves, sample_rate_hz, force=force)
