"""Rendered audio in memory: one array a design, ready to be measured, heard or written."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from presolder.models.audio.knob import KnobPath, dials_of_steps
from presolder.models.audio.matching import measure, shared_gain_db
from presolder.models.audio.renderer import sample_count
from presolder.models.audio.stages import Voice
from presolder.models.decibels import amplitude
from presolder.models.instrument.network import Network
from presolder.models.instrument.rig import Rig
from presolder.models.judging.character import level_over_dial
from presolder.models.typing import Array
from presolder.render.files.audio import Bits, write_audio
from presolder.render.files.folder import file_stems, new_folder
from presolder.render.report.table import Block, Table, lines_of, shows_itself
from presolder.render.report.take import null_plain


@shows_itself
@dataclass(frozen=True, eq=False)
class Audition(Mapping[str, Array]):
    """Audio by design name, each of shape (channels, n), full scale 1.0.

    Attributes
    ----------
    sample_rate : int
        Samples a second.
    audio : dict of str to ndarray
        In the order that the designs were given; before any gain, so that
        differences in level are real.
    path : KnobPath
        The knob.
    chains : dict of str to (Rig, Network or None)
        What each was heard through.
    dial : ndarray, shape (n,)
        Where the knob stands at each sample: half a sample before, as it is rendered.
    level_db : dict of str to ndarray, shape (n,)
        Level of each chain at 500 Hz re dial 10, at each sample; minus infinity at dial 0.
    null_db : ndarray, shape (4,), or None
        What is left of a jack take with nothing changed, RMS in dB re the take, over 20-50,
        50-500, 500-8000 and 8000-16000 Hz; None for a string take.
    """

    sample_rate: int
    audio: dict[str, Array]
    path: KnobPath
    chains: dict[str, tuple[Rig, Network | None]]
    null_db: Array | None = None

    @cached_property
    def dial(self) -> Array:
        """Where the knob stands at each sample."""
        count = sample_count(self.path, self.sample_rate)
        return dials_of_steps(self.path, 0, count, self.sample_rate)

    @cached_property
    def level_db(self) -> dict[str, Array]:
        """Level of each chain, worked out when it is asked for."""
        return {
            name: level_over_dial(rig, network, self.dial)
            for name, (rig, network) in self.chains.items()
        }

    def __getitem__(self, design: str) -> Array:
        return self.audio[design]

    def __iter__(self) -> Iterator[str]:
        return iter(self.audio)

    def __len__(self) -> int:
        return len(self.audio)

    def blocks(self) -> tuple[Block, ...]:
        """Length, peak and loudness of each design."""
        rows = []
        for name, samples in self.audio.items():
            level = measure(samples, self.sample_rate)
            loudness = level.loudness_lufs
            rows.append(
                (
                    name,
                    f"{samples.shape[1] / self.sample_rate:.2f} s",
                    f"{level.peak_db:.1f} dBFS",
                    "too quiet to measure" if loudness is None else f"{loudness:.1f} LUFS",
                )
            )
        return (Table(("design", "length", "peak", "loudness"), tuple(rows)),)

    def lines(self) -> list[str]:
        """For a terminal."""
        return lines_of(self.blocks())

    def plain(self) -> dict[str, object]:
        """For JSON: the table's numbers."""
        measured = {name: measure(samples, self.sample_rate) for name, samples in self.items()}
        return {
            "sample_rate_hz": self.sample_rate,
            "null_db": null_plain(self.null_db),
            "designs": [
                {"design": name, "peak_dbfs": level.peak_db, "integrated_lufs": level.loudness_lufs}
                for name, level in measured.items()
            ],
        }

    def write(self, out: str | Path, *, bits: Bits = "24", force: bool = False) -> list[Path]:
        """Write a WAV file a design, the loudest peak of all at -1 dBFS.

        Parameters
        ----------
        out : str or Path
            Folder to make.
        bits : {"16", "24", "float"}
        force : bool
            Whether files in it may be replaced.

        Returns
        -------
        list of Path

        Raises
        ------
        InputError
            If the folder cannot be used.
        """
        folder = Path(out)
        levels = [measure(samples, self.sample_rate).peak_db for samples in self.values()]
        gain = amplitude(shared_gain_db(levels))
        names = [f"{stem}.wav" for stem in file_stems(list(self))]
        with new_folder(folder, force=force) as scratch:
            for name, samples in zip(names, self.values(), strict=True):
                path = scratch / name
                write_audio(path, [gain * samples], self.sample_rate, len(samples), bits)
        return [folder / name for name in names]


def audition(voices: Mapping[str, Voice], take: Array, path: KnobPath) -> Audition:
    """Render every design of each voice into memory.

    Parameters
    ----------
    voices : mapping from str to Voice
        By what their designs' names begin with.
    take : ndarray, shape (channels, n)
    path : KnobPath
    """
    audio, chains = {}, {}
    renderer = next(iter(voices.values())).renderer
    for head, heard in voices.items():
        designs, rig = heard.renderer.designs, heard.renderer.rig
        for design, samples in zip(designs, heard.whole(path, take), strict=True):
            audio[f"{head}{design.name}"] = samples
            chains[f"{head}{design.name}"] = rig, design.network
    return Audition(int(renderer.sample_rate_hz), audio, path, chains, renderer.null_db)
