"""A loudspeaker as the user names it: the plain one, or an impulse response."""

from pathlib import Path

from presolder.models.audio.overlap import FilterBank
from presolder.models.audio.voicing import LONGEST_IMPULSE_SECONDS, measured_speaker, plain_speaker
from presolder.models.errors import place
from presolder.render.files.audio import read_impulse

PLAIN_SPEAKER = "plain"


def load_speaker(speaker: str, sample_rate_hz: int) -> FilterBank:
    """Load a loudspeaker.

    Parameters
    ----------
    speaker : str
        ``"plain"``, or the path of an impulse response.
    sample_rate_hz : int
        Of the audio that goes through it.

    Raises
    ------
    InputError
        If the impulse response cannot be used.
    """
    if speaker == PLAIN_SPEAKER:
        return plain_speaker(sample_rate_hz)
    impulse, rate = read_impulse(Path(speaker), LONGEST_IMPULSE_SECONDS)
    with place(speaker):
        return measured_speaker(impulse, rate, sample_rate_hz)
