"""Where the bundled takes, the pages and the sources lie."""

from pathlib import Path

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "samples"
DOCS = ROOT / "docs"
PROGRAMS = DOCS / "programs"
