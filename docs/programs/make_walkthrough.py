"""Write docs/walkthrough.md and its pictures by running every command in it.

``python docs/programs/make_walkthrough.py``. The tests run the same steps and compare.
"""

import contextlib
import json
import os
import re
import shlex
import shutil
import tempfile
from importlib import resources
from pathlib import Path
from unittest import mock

from click.testing import CliRunner

from presolder.models.instrument.expression import parse_expression
from presolder.models.instrument.network import Capacitor, Resistor, leaves
from presolder.models.instrument.quantities import format_code, format_quantity
from presolder.render.cli import cli

DOCS = Path(__file__).parents[1]
PICTURES = ("walkthrough-front.png", "walkthrough-curves.png")

# Slips of the iron for the last step: a tenth of the resistor that was meant.
WRONG_BY = 0.1
WIDTH = 88

STEPS: tuple[str | tuple[str, ...], ...] = (
    "# From complaint to parts list, and to a fault found",
    "An invented job, worked through with a multimeter, a recording input and a soldering iron. Every command below was run by `docs/programs/make_walkthrough.py`, which also wrote down what it said; the tests run it again.",
    "Hear what it is about (quiet first): [the plain pot](sounds/plain.mp3), with [one part](sounds/one-part.mp3), with [two parts](sounds/two-parts.mp3), at 7 and from 10 to 4. Who wants the answer alone asks `presolder advise`.",
    "**The complaint.** *A guitar with one humbucker turns to mud when its volume goes down for the verses, to 8, 7 or 6.*",
    "## 1. Measure, the guitar closed",
    "Nothing plugged in, an ohmmeter between tip and sleeve of a bare plug in the jack, read with the volume at 10, 9, 8 and so on. ([How this works](measuring.md).)",
    (
        "presolder taper --ohms 10=7.79k --ohms 9=113k --ohms 8=122k --ohms 7=101k --ohms 6=74.6k --ohms 5=51.9k --ohms 4=33.4k --ohms 3=20.5k --ohms 2=11.1k --ohms 1=4.48k",
    ),
    "So the pot is sound, its taper an ordinary one, and the winding is known without opening anything. The inductance needs an exciter: a small coil over the pickup plays a sweep, a recording input listens, here at the pickup's own lead, since the guitar will be opened for the bypass anyway. The output is highest at 6.07 kHz, and at 3.02 kHz with 470 pF across it.",
    (
        "presolder pickup --resistance 7k9 --bare-hz 6070 --loaded-hz 3020 --added 470p --meter-capacitance 20p",
    ),
    "The cable is a moulded one of 20 feet, and nothing is printed on it. Two more resonances at the jack would measure it; its length does for now.",
    ('presolder cable --length "20 ft"',),
    "## 2. Describe the guitar",
    "`presolder init` asks for all of this, explains each question, and takes `?` for an answer. Or what is known is given at once, as here, and what is not is typical, and marked so. The tone control says A500K and .022 on its parts; the pickup was rounded to what the two readings are good for.",
    (
        'presolder init --typical --pickup humbucker --resistance 7k9 --inductance "4.44 H" --capacitance 133p --volume 489k --taper log --midpoint 0.12 --tone A500K --tone-capacitor .022uf --cable-length "20 ft" --picofarads-per-m 110 --input 1meg --plays rolls-back --title "bench guitar 7: one humbucker, 500k volume, 20 ft cable" --out bench-7.toml',
    ),
    "SHOW bench-7.toml",
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
        'presolder curves --rig bench-7.toml --design bare --design "{series}" --show 8,6 --tolerance',
        'presolder curves --rig bench-7.toml --design bare --design "{series}" --design "{cap}" --show 10,7,4 --plot curves.png',
    ),
    "![Level and treble over the dial, and responses](pictures/walkthrough-curves.png)",
    "## 6. Let the customer hear it",
    "`phrase.flac` is a clean recording of the customer's own playing (here one of the bundled recordings). Start playback quiet.",
    (
        'presolder pack phrase.flac --rig bench-7.toml --design bare --design "{series}" --design "{cap}" --hold 10,7,4 --travel 4 --light --workshop "bench 7" --out bench-7.zip',
    ),
    "## 7. What to order and what to solder",
    (
        'presolder sheet --rig bench-7.toml --design "{series}" --workshop "bench 7" --out sheet.html',
        'presolder sheet --rig bench-7.toml --design "{series}"',
    ),
    "The page to print is [walkthrough/sheet.html](walkthrough/sheet.html).",
    "## 8. Check the finished guitar",
    "The guitar is soldered by somebody in a hurry, who records the same phrase at 10, 7 and 4 before closing it.",
    (
        'presolder verify --rig bench-7.toml --design "{series}" --take 10=at-10.wav --take 7=at-7.wav --take 4=at-4.wav',
    ),
    "One part is named, and two ways in which it can be wrong. Its colour bands tell which: it is {wrong} where {right} was ordered, one band misread. The reading on the sheet after its step would have told before the first note. Exchanged, and played again:",
    (
        'presolder verify --rig bench-7.toml --design "{series}" --take 10=again-10.wav --take 7=again-7.wav --take 4=again-4.wav',
    ),
    "## 9. The next guitar: three pickups and a switch",
    "One volume behind a five-way switch. Its owner plays the bridge pickup clean most of the time, two in parallel a good deal, the neck on a long cable now and then, and the neck into a fuzz. The rig file lists these as situations with their weights; it is a built-in one, drawn here in the first.",
    "![The guitar at the bridge pickup](pictures/guitar-three-single-coils-1.svg)",
    ("presolder need --rig three-single-coils",),
    "So nothing is worth its solder everywhere, and the last row says why: into the fuzz the guitar gets brighter as it is turned down, and a bypass only adds treble. This owner leaves the knob at 10 for it. The search is for the other three.",
    (
        'presolder tailor --rig three-single-coils --in "bridge, clean" --in "two in parallel, clean" --in "neck, long cable"',
    ),
    "A resistor in series with a capacitor does it again, and the second table says that no situation gives up anything that can be heard. Many values are as good; here are the commonest.",
    (
        'presolder tailor --rig three-single-coils --in "bridge, clean" --in "two in parallel, clean" --in "neck, long cable" --topology series --top 3',
        'presolder sheet --rig three-single-coils --in "bridge, clean" --design "100k + 330p"',
    ),
    "## 10. One order for both guitars",
    ('presolder order --job "bench-7.toml={series}" --job "three-single-coils=100k + 330p"',),
)


def run(line: str) -> str:
    """Output of one command line, run in this process."""
    result = CliRunner().invoke(cli, shlex.split(line)[1:], catch_exceptions=False)
    # Verify says with 3 that the guitar does not fit.
    if result.exit_code not in (0, 3):
        raise RuntimeError(f"{line}: {result.output}")
    return result.stdout.rstrip()


def in_lines(line: str) -> str:
    """A command as one would type it over several lines, none of them wider than a box."""
    lines = [""]
    for word in re.findall(r'(?:"[^"]*"|\S)+', line):
        if len(lines[-1]) + len(word) > WIDTH - 6:
            lines.append("    ")
        lines[-1] += word if not lines[-1].strip() else f" {word}"
    return " \\\n".join(lines)


def make_takes(soldered: str, name: str) -> None:
    """Simulate the finished guitar's recordings; they replace what would be played."""
    rig = Path("bench-7.toml").read_text("utf-8")
    Path("as-built.toml").write_text(rig + '\n[take]\ncaptured = "string"\n', encoding="utf-8")
    for dial in (10, 7, 4):
        Path("still.csv").write_text(f"time_s,dial\n0,{dial}\n4,{dial}\n", encoding="utf-8")
        run(
            f"presolder render phrase.flac --rig as-built.toml --design {shlex.quote(soldered)}"
            f" --gesture still.csv --gain-db -20 --bits float --out {name}-{dial}-made"
        )
        made = next(Path(f"{name}-{dial}-made", "sweep").glob("*.wav"))
        made.replace(f"{name}-{dial}.wav")


def best_values() -> dict[str, str]:
    """The series design that the search finds, a lone capacitor beside it, and a slip of the iron."""
    text = run("presolder tailor --rig bench-7.toml --json")
    found = {entry["topology"]: entry["expression"] for entry in json.loads(text)["best"]}
    parts = leaves(parse_expression(found["R + C"]))
    ohms = next(leaf.ohms for leaf in parts if isinstance(leaf, Resistor))
    farads = next(leaf.farads for leaf in parts if isinstance(leaf, Capacitor))
    wrong = f"{format_code(ohms * WRONG_BY, 'ohm')} + {format_code(farads, 'farad')}"
    spoken = {
        "wrong": format_quantity(ohms * WRONG_BY, "ohm"),
        "right": format_quantity(ohms, "ohm"),
    }
    return {"series": found["R + C"], "cap": "150p", "soldered": wrong, **spoken}


def build(folder: Path) -> str:
    """Run all steps in a folder; the page's text. Pictures and the sheet stay in the folder."""
    # As wide as the boxes of the site.
    wide = mock.patch("presolder.render.commands.output.terminal_width", lambda _: WIDTH)
    with contextlib.chdir(folder), wide, mock.patch.dict(os.environ, NO_COLOR="1"):
        take = resources.files("presolder.samples").joinpath("phrase.flac")
        Path("phrase.flac").write_bytes(take.read_bytes())
        values: dict[str, str] = {}
        blocks = []
        for step in STEPS:
            if isinstance(step, str) and step.startswith("SHOW "):
                shown = Path(step.removeprefix("SHOW ")).read_text("utf-8")
                blocks.append(f"```toml\n{shown}```")
                # From here on there is a rig.
                values = best_values()
                make_takes(values["soldered"], "at")
                make_takes(values["series"], "again")
            elif isinstance(step, str):
                blocks.append(step.format(**values))
            else:
                for line in (command.format(**values) for command in step):
                    typed = in_lines(line)
                    blocks.append(f"```console\n$ {typed}\n{run(line)}".rstrip() + "\n```")
    return "\n\n".join(blocks) + "\n"


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        text = build(Path(scratch))
        (DOCS / "walkthrough.md").write_text(text, encoding="utf-8")
        (DOCS / "walkthrough").mkdir(exist_ok=True)
        shutil.copy(Path(scratch, "sheet.html"), DOCS / "walkthrough" / "sheet.html")
        for name in PICTURES:
            shutil.copy(Path(scratch, name.removeprefix("walkthrough-")), DOCS / "pictures" / name)
