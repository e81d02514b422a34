"""Looking over the installation."""

from presolder.models.audio.knob import KnobPath
from presolder.models.audio.renderer import Renderer
from presolder.models.instrument.built_in import BUILT_IN
from presolder.render.files.health import (
    checked,
    encoding_trouble,
    ffmpeg_trouble,
    rig_trouble,
    scratch_trouble,
    versions,
)
from presolder.render.files.rig_file import DEFAULT_RIG, find_rig
from presolder.render.files.samples import read_sample
from presolder.render.report.health import HealthReport

_SAMPLES = 4800


def doctor() -> HealthReport:
    """Check whether everything that presolder needs is there and works.

    Returns
    -------
    HealthReport
        ``well``, and ``troubles``: what was looked at, and what is wrong with it.

    Notes
    -----
    Looks at the compiled loops, the bundled recordings,
    ffmpeg, the folder for temporary files, the terminal's encoding, and a rig
    of one's own.

    Examples
    --------
    >>> import presolder as ps
    >>> dict(ps.doctor().troubles)["recordings"]
    ''
    """
    looks = (
        ("compiled loops", _loops_trouble),
        ("recordings", _recordings_trouble),
        ("ffmpeg", ffmpeg_trouble),
        ("temporary files", scratch_trouble),
        ("encoding", encoding_trouble),
        ("own rig", rig_trouble),
    )
    return HealthReport(versions(), tuple((name, checked(look)) for name, look in looks))


def _recordings_trouble() -> str:
    read_sample("phrase")
    return ""


def _loops_trouble() -> str:
    """Whether a render runs."""
    take = read_sample("phrase")
    rate = take.sample_rate_hz
    path = KnobPath((0.0, _SAMPLES / rate), (10.0, 9.0))
    renderer = Renderer(find_rig(DEFAULT_RIG), BUILT_IN[:1], rate)
    for _ in renderer.along(path, take.samples[:, :_SAMPLES]):
        pass
    return ""
