"""The documentation site: it builds without a warning, and needs no network to be read."""

import inspect
import re
import subprocess
import sys
from pathlib import Path

import pytest

import presolder as ps
from takes import DOCS, PROGRAMS

pytestmark = pytest.mark.thorough


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("site")
    result = subprocess.run(
        [sys.executable, "-m", "sphinx", "-W", "-c", str(PROGRAMS), "--keep-going", "-q", "-d", str(out / "trees"),
         str(DOCS), str(out / "html")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert result.returncode == 0, result.stderr[-3000:]
    return out / "html"


def test_every_page_is_there_and_reachable(site: Path) -> None:
    index = (site / "index.html").read_text("utf-8")
    for page in DOCS.glob("*.md"):
        # The text for an index of packages is no page of the site.
        if page.stem == "package":
            continue
        assert (site / f"{page.stem}.html").exists()
        assert page.stem == "index" or f'href="{page.stem}.html"' in index


def test_tutorial_was_executed(site: Path) -> None:
    page = (site / "tutorial.html").read_text("utf-8")
    cells = len(re.findall(r"^```{code-cell}", (DOCS / "tutorial.md").read_text("utf-8"), re.M))
    assert page.count("cell_input docutils") == cells
    assert page.count("cell_output docutils") >= cells - 1
    assert "<svg" in page and "Traceback" not in page


def test_reference_has_every_name_of_the_face(site: Path) -> None:
    page = (site / "api.html").read_text("utf-8")
    for name in ps.__all__:
        assert f'id="presolder.{name}"' in page, name
    for name in (name for name in ps.__all__ if inspect.isfunction(getattr(ps, name))):
        summary = (inspect.getdoc(getattr(ps, name)) or "").split("\n")[0]
        assert re.sub(r"\W", "", summary)[:30] in re.sub(r"<[^>]*>|\W|&#?\w+;", "", page), name


def test_reading_needs_no_network(site: Path) -> None:
    fetched = []
    for page in site.glob("*.html"):
        text = page.read_text("utf-8")
        fetched += re.findall(r'<(?:script|img|iframe)[^>]*\ssrc="([^"]+)"', text)
        fetched += re.findall(r'<link[^>]*\shref="([^"]+)"', text)
    assert len(fetched) > 50
    assert not [url for url in fetched if url.startswith(("http:", "https:", "//"))]


def test_the_front_page_plays(site: Path) -> None:
    """The listening page itself, loaded when it is reached, beside the pages; sounds go along."""
    index = (site / "index.html").read_text("utf-8")
    assert '<iframe src="listen.html" loading="lazy"' in index
    page = (site / "listen.html").read_text("utf-8")
    assert 'id="lead-play"' in page and len(page) < 1_500_000
    assert "Copyright" not in index
    for name in re.findall(r'href="([^"]*\.mp3)"', (site / "figures.html").read_text("utf-8")):
        assert (site / name).stat().st_size > 50_000
