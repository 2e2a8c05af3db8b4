"""The documents: every format holds what was written, and can be read where it is sent."""

import io
import math
import re
import shutil
import subprocess
import zipfile
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from fieldnote.errors import UserMistake
from fieldnote.narrate import narrate, render
from fieldnote.narrate.document import lay_out, spans
from fieldnote.narrate.page import TEMPLATES
from fieldnote.narrate.sketch import load_sketch, marks_of
from fieldnote.narrate.sketch_picture import runs_of, sketch_png
from fieldnote.records import Job, Narrative

from .golden import FOLDER
from .jobs import PACK, job
from .test_exports import full_job

CAUTION = "The maker's procedure comes first; wait the maker's stated time."


def two_leaks() -> Job:
    from fieldnote.narrate.export import entries_from_json

    text = (FOLDER / "two-leaks-one-cured" / "entries.json").read_text("utf-8")
    return Job("j", "Unit 63 <b>&", "2026-01-05T08:00:00Z", entries=entries_from_json(text))


def made(found: Job, to: str) -> bytes:
    return render(narrate(found, PACK, (CAUTION,)), found, PACK, to)


def all_sentences(story: Narrative) -> list[str]:
    """What a reader must find in every document; vehicle facts stand in its head as labels and values."""
    return [s.text for p in story.paragraphs if p.heading != "Vehicle" for s in p.sentences] + [
        p.text for p in story.open_points
    ]


def squeezed(text: str) -> str:
    return re.sub(r"[\s\u00a0\\]+", "", text)


class Text(HTMLParser):
    """The text of a page, its style left out, and what it would fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.parts: list[str] = []
        self.fetched: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self._mute = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        self._mute = tag == "style"
        self.fetched += [str(v) for k, v in attrs if k in ("src", "srcset", "data") or (k == "href" and tag == "link")]
        self.ids += [str(named["id"])] if "id" in named else []
        self.links += [str(named["href"])] if tag == "a" and "href" in named else []
        assert tag != "script"

    def handle_endtag(self, tag: str) -> None:
        self._mute = False

    def handle_data(self, data: str) -> None:
        if not self._mute:
            self.parts.append(data)


def read_html(raw: bytes) -> Text:
    page = Text()
    page.feed(raw.decode("utf-8"))
    return page


def read_pdf(raw: bytes, tmp_path: Path) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is missing: install poppler-utils")
    path = tmp_path / "a.pdf"
    path.write_bytes(raw)
    return subprocess.run(["pdftotext", str(path), "-"], capture_output=True, check=True, text=True).stdout


def read_docx(raw: bytes) -> str:
    from docx import Document

    found = Document(io.BytesIO(raw))
    cells = [c.text for t in found.tables for r in t.rows for c in r.cells]
    return "\n".join([*(p.text for p in found.paragraphs), *cells])


@pytest.mark.parametrize("to", ["md", "html", "pdf", "docx"])
def test_every_sentence_stands_in_every_document(to: str, tmp_path: Path) -> None:
    """Each sentence, open point and caution comes back out of the document, word by word."""
    found = two_leaks()
    raw = made(found, to)
    text = {
        "md": lambda: raw.decode("utf-8"),
        "html": lambda: "".join(read_html(raw).parts),
        "pdf": lambda: read_pdf(raw, tmp_path),
        "docx": lambda: read_docx(raw),
    }[to]()
    story = narrate(found, PACK, (CAUTION,))
    missing = [s for s in [*all_sentences(story), CAUTION] if squeezed(s) not in squeezed(text)]
    assert not missing
    assert squeezed(found.name) in squeezed(text)
    assert story.hash in squeezed(text) or to == "md"
    assert story.hash[:16] in text


@pytest.mark.parametrize("to", ["md", "html", "pdf", "docx", "json", "csv", "jsonl", "vtt"])
def test_the_same_job_gives_the_same_file(to: str) -> None:
    """No clock and no chance goes into a file: the same job gives the same bytes."""
    first = made(full_job(), to)
    if to == "docx":
        packed = [part.date_time for part in zipfile.ZipFile(io.BytesIO(first)).infolist()]
        assert set(packed) == {(1980, 1, 1, 0, 0, 0)}
    assert made(full_job(), to) == first


@pytest.mark.parametrize("to", ["md", "html", "pdf", "docx", "json", "csv", "jsonl", "vtt"])
def test_an_empty_job_gives_a_document(to: str) -> None:
    """A job of which nothing is known yet can be written in every format; it has no line of JSON Lines."""
    assert bool(made(job(), to)) == (to != "jsonl")


def test_what_was_not_recorded_says_so() -> None:
    """Empty parts of an empty job say "not recorded", and no sentence is made up."""
    text = made(job(), "md").decode("utf-8")
    assert text.count("Not recorded.") == 4
    assert "VIN: not recorded" in text and "- The complaint was not recorded." in text


def test_the_page_fetches_nothing_and_its_links_lead_somewhere() -> None:
    """The page needs no network and no script, and every number of an entry leads to that entry."""
    page = read_html(made(two_leaks(), "html"))
    assert page.fetched == []
    assert {link[1:] for link in page.links} <= set(page.ids)
    css = (TEMPLATES / "document.css").read_text("utf-8")
    assert "url(" not in css and "@import" not in css


def test_text_of_the_job_cannot_become_markup() -> None:
    """A job's name with signs of markup in it is shown as it is."""
    raw = made(two_leaks(), "html").decode("utf-8")
    assert "Unit 63 &lt;b&gt;&amp;" in raw and "<b>" not in raw
    assert r"# Unit 63 \<b\>&" in made(two_leaks(), "md").decode("utf-8")


def luminance(color: str) -> float:
    """Relative luminance by WCAG 2.2."""
    parts = [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    a, b = sorted((luminance(one), luminance(other)), reverse=True)
    return (a + 0.05) / (b + 0.05)


@pytest.mark.parametrize(("color", "wanted"), [("#767676", 4.542), ("#777777", 4.478), ("#949494", 3.034)])
def test_the_contrast_formula(color: str, wanted: float) -> None:
    """Contrast on white of greys around the limits, as computed from WCAG 2.2's formula."""
    assert contrast(color, "#ffffff") == pytest.approx(wanted, abs=0.001)


def themes() -> list[dict[str, str]]:
    css = (TEMPLATES / "document.css").read_text("utf-8")
    found = []
    for block in re.findall(r":root \{([^}]*)\}", css):
        values = dict(re.findall(r"--(\w+): (#[0-9a-f]{3,6})", block))
        found.append({k: v if len(v) == 7 else "#" + "".join(c * 2 for c in v[1:]) for k, v in values.items()})
    return found


@pytest.mark.parametrize("theme", themes(), ids=["light", "dark", "print"])
def test_text_can_be_read_in_light_dark_and_print(theme: dict[str, str]) -> None:
    """Every text colour has a contrast of at least 4.5 to 1 on every ground (WCAG 2.2, 1.4.3)."""
    for text in ("ink", "soft", "deep", "mark"):
        for ground in ("paper", "tint"):
            assert contrast(theme[text], theme[ground]) >= 4.5, (text, ground)


def test_the_pdf_carries_its_fonts(tmp_path: Path) -> None:
    """Every font of the PDF is embedded, as a subset, with a map to Unicode."""
    if shutil.which("pdffonts") is None:
        pytest.skip("pdffonts is missing: install poppler-utils")
    path = tmp_path / "a.pdf"
    path.write_bytes(made(two_leaks(), "pdf"))
    listed = subprocess.run(["pdffonts", str(path)], capture_output=True, check=True, text=True).stdout
    rows = [line.split() for line in listed.splitlines()[2:]]
    assert rows and all(row[-5:-2] == ["yes", "yes", "yes"] for row in rows), listed


def test_the_pdf_takes_any_text(tmp_path: Path) -> None:
    """Long words, other scripts and a long name neither stop the PDF nor lose what its face can show."""
    words = "Ł" + "x" * 300 + " čšž Ωμ"
    found = job({"kind": "fact", "what": "complaint", "value": words})
    text = read_pdf(made(found, "pdf"), tmp_path)
    assert squeezed(words) in squeezed(text)


def test_no_format_by_that_name() -> None:
    """An unknown format is refused with the list of those there are."""
    with pytest.raises(UserMistake, match="no format 'xls'"):
        made(job(), "xls")


@pytest.mark.parametrize(
    ("refs", "written"),
    [((), ""), ((3,), "3"), ((3, 4), "3, 4"), ((3, 4, 5), "3–5"), ((1, 3, 4, 5, 9), "1, 3–5, 9")],
)
def test_numbers_of_entries_in_short(refs: tuple[int, ...], written: str) -> None:
    """Runs of three and more are joined."""
    assert spans(refs) == written


def test_the_hash_follows_the_words() -> None:
    """Any change of what is said changes the hash; the same words keep it."""
    one, other = narrate(two_leaks(), PACK), narrate(full_job(), PACK)
    assert one.hash == narrate(two_leaks(), PACK).hash != other.hash
    assert narrate(two_leaks(), PACK, (CAUTION,)).hash != one.hash


def test_the_layout_is_in_the_order_of_a_claim() -> None:
    """Complaint, cause and correction come first, then the work, what is open, cautions, and the entries."""
    found = two_leaks()
    heads = [s.heading for s in lay_out(narrate(found, PACK, (CAUTION,)), found, PACK).sections]
    assert heads == [
        "Complaint",
        "Cause",
        "Correction",
        "Order of work",
        "Tests",
        "Parts, materials and labor",
        "Not established",
        "Cautions",
        "Entries and the words behind them",
    ]


def test_the_word_document_has_the_drawing_with_its_words() -> None:
    """One picture, of the shape of the drawing, told in words for who cannot see it; none where there is no mark."""
    from docx import Document as Opened
    from PIL import Image

    def pictures(found: Job) -> list[Any]:
        return list(Opened(io.BytesIO(render(narrate(found, PACK), found, PACK, "docx"))).inline_shapes)

    drawn = job({"kind": "evidence", "place": "cowl", "side": "left", "state": "wet"})
    (one,) = pictures(drawn)
    assert "water showed: left cowl" in one._inline.docPr.get("descr").lower()
    sketch = load_sketch(PACK)
    assert sketch is not None
    made = Image.open(io.BytesIO(sketch_png(sketch, marks_of(drawn.entries, PACK))))
    bare = Image.open(io.BytesIO(sketch_png(sketch, ())))
    assert made.width / made.height == pytest.approx(sketch.width / sketch.height, abs=0.01)
    assert made.tobytes() != bare.tobytes()
    assert not pictures(job())


@pytest.mark.parametrize(
    ("path", "middle"),
    [
        pytest.param("M0 0 L10 0 L10 10 Z", (10, 0), id="lines"),
        pytest.param("M0 0 h10 v10 h-10 z", (10, 10), id="relative lines"),
        # A quarter of a circle of radius 10 around (0, 0): its middle lies at 10/sqrt(2).
        pytest.param("M10 0 A10 10 0 0 1 0 10", (7.0711, 7.0711), id="an arc"),
        # Half way along a cubic curve: (P0 + 3 P1 + 3 P2 + P3) / 8.
        pytest.param("M0 0 C0 8 8 8 8 0", (4, 6), id="a cubic curve"),
        pytest.param("M0 0 Q4 8 8 0", (4, 4), id="a quadratic curve"),
    ],
)
def test_paths_go_where_svg_says(path: str, middle: tuple[float, float]) -> None:
    """By the geometry of SVG 2, chapter 9: a point that lies on the path is met."""
    points = [point for run in runs_of(path) for point in run]
    assert min(math.dist(point, middle) for point in points) < 0.05
