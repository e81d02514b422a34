"""What the page's own engine needs: the guitar as numbers, its EMF, and levels over the dial."""

import base64
import gzip
import io
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from importlib.resources import files
from itertools import count
from typing import Any, TypeAlias

import numpy as np
import soundfile

from presolder.models.audio.looped import LEVEL_DIALS, MEASURED_DIALS, Bands, Levels, looped
from presolder.models.audio.matching import shared_gain_db
from presolder.models.audio.positions import SignalPath
from presolder.models.audio.static_curves import LOPSIDED_BIAS, diode_pair, knee_volts, static_curve
from presolder.models.circuit.branch import GROUND, OUTPUT, Branch
from presolder.models.circuit.chain import control_chain
from presolder.models.circuit.recursion import (
    DIAL_ROWS,
    collocation_nodes,
    collocation_terms,
)
from presolder.models.decibels import amplitude, decibels
from presolder.models.instrument.circuits import STAGE_KINDS
from presolder.models.instrument.controls import Load
from presolder.models.instrument.dirt import DIRT_KINDS, AnyDirt, Curve, Dirt, DirtKind
from presolder.models.instrument.law import BENT_TAPERS
from presolder.models.instrument.network import (
    Gang,
    Leaf,
    Network,
    Parallel,
    Series,
    joined_text,
)
from presolder.models.instrument.placement import placed_parts
from presolder.models.instrument.rig import Rig
from presolder.models.instrument.stage import Stage
from presolder.models.judging.ear import Ear
from presolder.models.typing import Array
from presolder.render.files.mp3 import mp3_of
from presolder.render.files.samples import read_sample
from presolder.render.files.speaker import PLAIN_SPEAKER, load_speaker
from presolder.render.listening.job import PackJob
from presolder.render.listening.stages import branch_plain, knobs_of, law_plain, stage_plain

Tree: TypeAlias = int | dict[str, list["Tree"]]
# A curve of one's own over the inverse hyperbolic sine of volts over its knee.
_FARTHEST, _CURVE_POINTS = 10.0, 2049
_PEAK = 0.9
# What stands for an open input and for no cable.
_OPEN_OHMS, _NO_FARADS = 1e9, 1e-13
_SPEAKER_SECONDS = 0.25
# Of full scale, so that what is below takes no room in a page.
_STEPS = 2.0**19
_TAKES = {
    "chords": "open chords, strummed", "lead": "a line that sustains", "muted": "muted, percussive",
}  # fmt: skip


def live_data(job: PackJob, signal_paths: Sequence[SignalPath]) -> dict[str, Any]:
    """Everything that the engine needs, as JSON will have it.

    Parameters
    ----------
    job : PackJob
    signal_paths : sequence of SignalPath
        One a situation; the EMF of the take is the same in all.

    Returns
    -------
    dict
    """
    rate = job.recording.sample_rate_hz
    loop = looped(signal_paths, job.recording.samples)
    scale = _PEAK / max(float(np.abs(loop.emf).max()), 1e-12)
    peaks_db = (db for own in loop.levels for db in own.peak_db)
    bands, dirts = _bands_plain(loop.bands), dirts_of(job)
    return {
        "rate": rate,
        "rows": DIAL_ROWS,
        "method": method_plain(),
        "emf": _as_flac(loop.emf * scale, rate),
        "trueGain": amplitude(shared_gain_db(peaks_db)) / scale,
        "seconds": loop.emf.size / rate,
        **_takes_plain(job),
        "situations": [
            _situation_plain(job, ear, dirts, own, float(decibels(scale)), like)
            for ear, own, like in zip(job.ears, loop.levels, loop.loudest, strict=True)
        ],
        "dirts": [stage_plain(one) if isinstance(one, Stage) else dirt_plain(one) for one in dirts],
        "core": _core(),
        "speaker": _speaker_plain(job, rate, bands["bandHz"]),
        "jack": jack_plain(job.rig.for_any_playing),
        **bands,
        "levelDials": LEVEL_DIALS.tolist(),
        "measuredDials": list(MEASURED_DIALS),
    }


def _takes_plain(job: PackJob) -> dict[str, Any]:
    """What the pack's own take is called, and what else can be played, to a listener's ears."""
    own, takes = job.recording.name, []
    for name, words in _TAKES.items():
        take = read_sample(name)
        if take.sha256 == job.recording.sha256:
            own = words
            continue
        frames = np.round(take.samples.T * 32767.0).astype(np.int16)
        audio = base64.b64encode(mp3_of(frames, take.sample_rate_hz)).decode("ascii")
        takes.append({"words": words, "audio": audio})
    return {"take": own, "takes": takes}


def _bands_plain(bands: Bands) -> dict[str, list[float]]:
    return {
        "bandHz": [round(float(f), 3) for f in bands.middle_hz],
        "bandWeight": [float(f"{w:.5g}") for w in bands.weight],
        "bandPower": [float(f"{share:.4g}") for share in bands.share],
    }


def _situation_plain(
    job: PackJob, ear: Ear, dirts: list[AnyDirt], levels: Levels, scale_db: float, loudest: int
) -> dict[str, Any]:
    """What differs from situation to situation."""
    rig, own = ear.rig.for_any_playing, ear.rig.dirt
    return {
        "name": ear.situation,
        "circuits": [circuit_plain(rig, design.network) for design in job.designs],
        "designs": [design_parts(rig, design.network) for design in job.designs],
        "pot": law_plain(rig.volume.taper),
        "cable": rig.cable_farads,
        "amplifier": _load_plain(rig.load),
        "feeding": {
            "dirt": None if own is None else dirts.index(_undriven(own)),
            "driveDb": own.drive_db if isinstance(own, Dirt) else Dirt().drive_db,
            "speaker": job.after.speaker is not None,
            "knobs": knobs_of(own if isinstance(own, Stage) else Stage()),
        },
        "emfVolts": rig.output_volts,
        "tone": tone_plain(rig),
        "levelDb": [[round(float(db) + scale_db, 2) for db in row] for row in levels.level_db],
        "crestDb": round(levels.crest_db, 2),
        # By which situation drive and loudness are set, so that this one may be softer.
        "loudest": loudest,
        "leftOut": job.left_out(ear),
    }


def _as_flac(audio: Array, rate: int) -> str:
    """Audio rounded to 20 bits, some 120 dB below full scale; what is finer only fills a page."""
    audio = np.round(audio * _STEPS) / _STEPS
    file = io.BytesIO()
    # Writing into memory calls Python back from C, which would swallow a signal that comes then;
    # signals come to the main thread alone.
    with ThreadPoolExecutor(1) as other:
        other.submit(soundfile.write, file, audio, rate, format="FLAC", subtype="PCM_24").result()
    return base64.b64encode(file.getvalue()).decode("ascii")


def dirts_of(job: PackJob) -> list[AnyDirt]:
    """The pack's own curves as they are set, then the others, and the circuits."""
    dirts = [ear.rig.dirt for ear in job.ears]
    own = list(dict.fromkeys(_undriven(dirt) for dirt in dirts if isinstance(dirt, Dirt)))
    kinds = {dirt.kind for dirt in own}
    curves = [*own, *(Dirt(kind) for kind in DIRT_KINDS if kind not in kinds)]
    circuits = [_undriven(dirt) for dirt in dirts if isinstance(dirt, Stage)]
    return [*curves, *dict.fromkeys([*circuits, *map(Stage.as_drawn, STAGE_KINDS)])]


def _undriven(dirt: AnyDirt) -> AnyDirt:
    """A dirt but for what the page sets beside it: its drive, or a circuit's knobs."""
    return (
        Stage.as_drawn(dirt.kind)
        if isinstance(dirt, Stage)
        else replace(dirt, drive_db=Dirt().drive_db)
    )


def _core() -> str:
    """What steps along in the page, as `models/core` has it, packed."""
    module = files("presolder.models.core").joinpath("core.wasm").read_bytes()
    return base64.b64encode(gzip.compress(module, mtime=0)).decode("ascii")


def dirt_plain(dirt: Dirt) -> dict[str, Any]:
    """A clipping stage's numbers: its curve, its filters, its input."""
    return {
        "kind": str(dirt.kind),
        "words": dirt.words,
        "curve": _curve_plain(dirt.kind),
        "knee": knee_volts(dirt.kind),
        "preHz": dirt.pre_hz,
        "postHz": dirt.post_hz,
        **_load_plain(dirt.load),
    }


def _curve_plain(kind: DirtKind | Curve) -> dict[str, Any]:
    """A curve as `dirt.js` takes it, by the names of what it knows to play."""
    match kind:
        case "smooth":
            return {"bias": 0.0}
        case "lopsided" | "lopsided-10k":
            return {"bias": LOPSIDED_BIAS}
        case "diodes":
            leak, slope = diode_pair()
            return {"leak": leak, "slope": slope}
        case Curve():
            nodes = np.sinh(np.linspace(-_FARTHEST, _FARTHEST, _CURVE_POINTS)) * knee_volts(kind)
            return {"farthest": _FARTHEST, "at": static_curve(kind, nodes).tolist()}


def _load_plain(load: Load) -> dict[str, float]:
    return {"ohms": min(load.resistance_ohms, _OPEN_OHMS), "farads": load.capacitance_farads}


def _speaker_plain(job: PackJob, rate: int, band_hz: list[float]) -> dict[str, Any]:
    """The pack's loudspeaker, or else the plain one, as an impulse response to decode."""
    named = job.after.speaker or PLAIN_SPEAKER
    speaker = load_speaker(named, rate)
    impulse = speaker.impulses[0]
    gains = speaker.power_at(np.array(band_hz), rate)
    # The plain one has died away by then; of a measured one a page needs no more.
    shown = impulse[: round(_SPEAKER_SECONDS * rate)]
    peak = float(np.abs(shown).max())
    return {
        "impulse": _as_flac(shown * (_PEAK / peak), rate),
        "rate": rate,
        "scale": peak / _PEAK,
        "bandGains": [float(f"{gain:.4g}") for gain in gains],
    }


def method_plain() -> dict[str, Any]:
    """The recursion's constants."""

    def pair(value: complex) -> list[float]:
        return [value.real, value.imag]

    return {
        "nodes": collocation_nodes().tolist(),
        "terms": [
            {
                "mu": pair(term.eigenvalue),
                "last": pair(term.last),
                "weights": [pair(complex(weight)) for weight in term.weights],
            }
            for term in collocation_terms()
        ],
    }


def circuit_plain(rig: Rig, network: Network | None) -> dict[str, Any]:
    """A chain's branches, letters for kinds; node 0 is ground.

    An open input and no cable are there too, so that others can be tried.
    """
    branches = control_chain(rig, network).branches
    shunts = (
        Branch("capacitor", OUTPUT, GROUND, _NO_FARADS, part="cable"),
        Branch("resistor", OUTPUT, GROUND, _OPEN_OHMS, part="input"),
    )
    there = {branch.part for branch in branches}
    branches += tuple(shunt for shunt in shunts if shunt.part not in there)
    return {
        "nodes": 1 + max(max(branch.plus, branch.minus) for branch in branches),
        "output": OUTPUT,
        "branches": [branch_plain(branch) for branch in branches],
    }


def _branches_of(rig: Rig, network: Network | None, part: str) -> list[int]:
    """Where in a chain the branches are that are this part."""
    branches = control_chain(rig, network).branches
    return [i for i, branch in enumerate(branches) if branch.part == part]


def design_parts(rig: Rig, network: Network | None) -> dict[str, Any]:
    """A design's parts with the branches of each, and its expression with places for values."""
    placed = placed_parts(network)
    branches = _branches_of(rig, network, "bypass")
    parts = [
        {
            "name": part.name,
            "kind": part.leaf.kind.letter,
            "value": part.leaf.value,
            # One in each channel that gets the design.
            "branches": branches[i :: len(placed)],
        }
        for i, part in enumerate(placed)
    ]
    return {"parts": parts, "template": _template(network), "tree": _tree(network)}


def jack_plain(rig: Rig) -> dict[str, Any] | None:
    """The chain that a take went through at the jack; None if takes are the EMF itself."""
    stood = rig.take.rig
    if stood is None:
        return None
    return {"circuit": circuit_plain(stood, rig.take.network), "dial": rig.take.dial}


def tone_plain(rig: Rig) -> dict[str, Any] | None:
    """The first tone knob that does anything: its pot, and the branch that is its resistance."""
    tones = (*(channel.tone for channel in rig.channels), rig.tone)
    tone = next((one for one in tones if one and one.connected and one.dial > 0), None)
    if tone is None:
        return None
    return {
        "branch": _branches_of(rig, None, "tone")[0],
        "ohms": tone.pot.resistance_ohms,
        "law": law_plain(tone.pot.taper),
        "dial": tone.dial,
    }


def _template(network: Network | None) -> str:
    """An expression with ``{0}``, ``{1}`` and so on for the values."""
    numbers = count()

    def place_for(leaf: Leaf) -> str:
        number = f"{{{next(numbers)}}}"
        if not isinstance(leaf, Gang):
            return number
        bend = f", {leaf.taper.midpoint:g}" if leaf.taper.kind in BENT_TAPERS else ""
        return f"gang({number}, {leaf.taper.kind}, {leaf.at_ten}{bend})"

    return "" if network is None else joined_text(network, place_for)


def _tree(network: Network | None) -> Tree | None:
    """The network for drawing: numbers of its parts, in series and in parallel."""
    numbers = count()

    def branch(part: Network) -> Tree:
        match part:
            case Series(parts):
                return {"series": [branch(one) for one in parts]}
            case Parallel(parts):
                return {"parallel": [branch(one) for one in parts]}
            case _:
                return next(numbers)

    return None if network is None else branch(network)
