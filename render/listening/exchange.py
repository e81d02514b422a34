"""A rig and its designs for other programs: netlists, impulse responses, responses."""

import json
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from presolder.models.audio.impulse import impulse_responses
from presolder.models.circuit.netlist import netlist
from presolder.models.instrument.rig import Rig
from presolder.render.files.audio import write_audio
from presolder.render.files.folder import MANIFEST, file_stems, new_folder, padded_dial
from presolder.render.report.curves import Curves
from presolder.render.report.rigs import design_plain, rig_plain


def write_exchange(
    out: Path,
    rig: Rig,
    curves: Curves,
    sample_rate_hz: int,
    *,
    force: bool,
) -> dict[str, Any]:
    """Write ``netlists/*.cir``, ``impulses/*.wav``, ``responses.csv`` and ``manifest.json``.

    Parameters
    ----------
    out : Path
        Folder to make.
    rig : Rig
    curves : Curves
        Of its designs at the dials, which are above 0.
    sample_rate_hz : int
    force : bool
        Whether files in it may be replaced.

    Returns
    -------
    dict
        The manifest.
    """
    designs, dials = curves.designs, curves.dial.tolist()
    impulses, lead = impulse_responses(rig, designs, dials, sample_rate_hz)
    stems = file_stems([design.name for design in designs])
    files = []
    with new_folder(out, force=force) as folder:
        for room in ("netlists", "impulses"):
            (folder / room).mkdir()
        for design, stem, row in zip(designs, stems, impulses, strict=True):
            for dial, impulse in zip(dials, row, strict=True):
                name = f"{stem}_dial-{padded_dial(dial)}"
                circuit = folder / "netlists" / f"{name}.cir"
                circuit.write_text(netlist(rig, design.network, dial), encoding="utf-8")
                sound = folder / "impulses" / f"{name}.wav"
                write_audio(sound, [impulse[np.newaxis]], sample_rate_hz, 1, "float")
                files.append(
                    {
                        "design": design.name,
                        "dial": dial,
                        "netlist": f"netlists/{circuit.name}",
                        "impulse": f"impulses/{sound.name}",
                        "samples": impulse.size,
                    }
                )
        with (folder / "responses.csv").open("w", encoding="utf-8", newline="") as file:
            curves.write_csv(file)
        manifest = {
            "presolder": version("presolder"),
            "rig": rig_plain(rig),
            "designs": [design_plain(design) for design in designs],
            "sample_rate_hz": sample_rate_hz,
            "delay_samples": lead,
            "responses": "responses.csv",
            "files": files,
        }
        text = json.dumps(manifest, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
        (folder / MANIFEST).write_text(text, encoding="utf-8")
    return manifest
