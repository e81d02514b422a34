"""Write docs/walkthrough.md and its pictures by running every command in it.

``python docs/make_walkthrough.py``. The tests run the same steps and compare.
"""

import contextlib
import json
import shlex
import shutil
import tempfile
from importlib import resources
from pathlib import Path

from click.testing import CliRunner

from presolder.render.cli import cli

DOCS = Path(__file__).parent
PICTURES = ("walkthrough-front.png", "walkthrough-curves.png")

RIG = """\
title = "bench guitar 7: one humbucker, 500k volume, 6 m cable"

[pickup]
resistance = "7k9"
inductance = "4.4 H"
capacitance = "130p"

[volume]
resistance = "500k"
taper = "audio"
midpoint = 0.12

[tone]
resistance = "500k"
taper = "audio"
capacitance = "22n"

[cable]
length_m = 6
picofarads_per_m = 100

[input]
resistance = "1M"
"""

# What stands in for the finished guitar in the last step: the cable that the
# customer really uses, raw EMF in, takes out.
AS_BUILT = RIG.replace("length_m = 6", "length_m = 12") + '\n[take]\ncaptured = "string"\n'

STEPS: tuple[str | tuple[str, ...], ...] = (
    "# From complaint to parts list",
    "An invented job, worked through. Every command below was run by `docs/make_walkthrough.py`, which also wrote down what it said; the tests run it again.",
    "**The complaint.** *A guitar with one humbucker turns to mud when its volume goes down for the verses, to 8, 7 or 6.*",
    "## 1. Measure the pickup",
    "With the guitar unplugged and the pickup's lead disconnected from the controls, an ohmmeter says 7.9 kΩ. A small coil over the pickup plays a sweep into it, a recording input listens: the output is highest at 6.07 kHz, and at 3.02 kHz with 470 pF across it. ([How this works](measuring.md).)",
    (
        "presolder pickup --resistance 7k9 --bare-hz 6070 --loaded-hz 3020 --added 470p --meter-capacitance 20p",
    ),
    "## 2. Describe the guitar",
    "The rest is read off the parts and asked of the customer. `bench-7.toml` ([the format](rig-format.md)):",
    "RIG",
    "## 3. Is a bypass needed?",
    ("presolder need --rig bench-7.toml --plays rolls-back",),
    "So the customer is right.",
    "## 4. Which one, and which values?",
    "The built-in designs first, then a search of E12 values. Both judge by ear at the dials that this player uses. ([How](figures.md).)",
    (
        "presolder compare --rig bench-7.toml",
        "presolder tailor --rig bench-7.toml --plot front.png",
    ),
    "![What the taper pays for the tone](pictures/walkthrough-front.png)",
    "So the candidate is a resistor in series with a capacitor; the lone 150 pF that the customer has heard of goes along for comparison.",
    "## 5. What will the parts' tolerances do?",
    (
        'presolder curves --rig bench-7.toml --design bare --design "{series}" --dial 8,6 --tolerance',
        'presolder curves --rig bench-7.toml --design bare --design "{series}" --design "{cap}" --dial 10,7,4 --plot curves.png',
    ),
    "![Level and treble over the dial, and responses](pictures/walkthrough-curves.png)",
    "## 6. Let the customer hear it",
    "`phrase.flac` is a clean recording of the customer's own playing (here one of the bundled recordings). Start playback quiet.",
    (
        'presolder pack phrase.flac --rig bench-7.toml --design bare --design "{series}" --design "{cap}" --dials 10,7,4 --travel 4 --light --workshop "bench 7" --out bench-7.zip',
    ),
    "## 7. What to order and what to solder",
    (
        'presolder sheet --rig bench-7.toml --design "{series}" --workshop "bench 7" --out sheet.html',
        'presolder sheet --rig bench-7.toml --design "{series}"',
    ),
    "The page to print is [walkthrough/sheet.html](walkthrough/sheet.html).",
    "## 8. Check the finished guitar",
    "Some weeks later the customer records the same phrase at 10, 7 and 4, and finds the guitar duller than the samples.",
    (
        'presolder verify --rig bench-7.toml --design "{series}" --take 10=at-10.wav --take 7=at-7.wav --take 4=at-4.wav',
    ),
    "The soldering is right; the cable is not the one described. It has twice the length that was asked for.",
)


def run(line: str) -> str:
    """Output of one command line, run in this process."""
    result = CliRunner().invoke(cli, shlex.split(line)[1:], catch_exceptions=False)
    # Verify says with 3 that the guitar does not fit.
    if result.exit_code not in (0, 3):
        raise RuntimeError(f"{line}: {result.output}")
    return result.stdout.rstrip()


def make_takes(series: str) -> None:
    """Simulate the finished guitar's recordings; they replace what a customer would send."""
    Path("as-built.toml").write_text(AS_BUILT, encoding="utf-8")
    for dial in (10, 7, 4):
        Path("still.csv").write_text(f"time_s,dial\n0,{dial}\n4,{dial}\n", encoding="utf-8")
        run(
            f"presolder render phrase.flac --rig as-built.toml --design {shlex.quote(series)}"
            f" --gesture still.csv --gain-db -20 --bits float --out take-{dial}"
        )
        made = next(Path(f"take-{dial}", "sweep").glob("*.wav"))
        made.replace(f"at-{dial}.wav")


def best_values() -> dict[str, str]:
    """The series design that the search finds, and a lone capacitor to hear beside it."""
    text = run("presolder tailor --rig bench-7.toml --topology series --gangs none --json")
    found = {entry["topology"]: entry["expression"] for entry in json.loads(text)["best"]}
    return {"series": found["R + C"], "cap": "150p"}


def build(folder: Path) -> str:
    """Run all steps in a folder; the page's text. Pictures and the sheet stay in the folder."""
    with contextlib.chdir(folder):
        Path("bench-7.toml").write_text(RIG, encoding="utf-8")
        take = resources.files("presolder.samples").joinpath("phrase.flac")
        Path("phrase.flac").write_bytes(take.read_bytes())
        values = best_values()
        make_takes(values["series"])
        blocks = []
        for step in STEPS:
            if step == "RIG":
                blocks.append(f"```toml\n{RIG}```")
            elif isinstance(step, str):
                blocks.append(step)
            else:
                for line in (command.format(**values) for command in step):
                    blocks.append(f"```console\n$ {line}\n{run(line)}".rstrip() + "\n```")
    return "\n\n".join(blocks) + "\n"


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        text = build(Path(scratch))
        (DOCS / "walkthrough.md").write_text(text, encoding="utf-8")
        (DOCS / "walkthrough").mkdir(exist_ok=True)
        shutil.copy(Path(scratch, "sheet.html"), DOCS / "walkthrough" / "sheet.html")
        for name in PICTURES:
            shutil.copy(Path(scratch, name.removeprefix("walkthrough-")), DOCS / "pictures" / name)
