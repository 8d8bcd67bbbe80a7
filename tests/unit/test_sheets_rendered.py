"""Sheets: content, page and PDF; no glyph missing, nothing over the edge, nothing from a text becomes markup."""

from __future__ import annotations

import io
import re
from datetime import date
from html.parser import HTMLParser

import pypdfium2
import pytest
from typer.testing import CliRunner

from truekev.book.book import Book
from truekev.book.things import Find, Source
from truekev.book.work import Batch, Note, Recovery, Relock, Scale, SpectrumFile
from truekev.cli.app import app
from truekev.errors import InputError, UnknownNameError
from truekev.job.book_assay import AssayAsked, assay_in_book
from truekev.job.book_own_source import OwnSourceAsked, own_source_in_book
from truekev.job.book_sample import CountAsked, sample_text
from truekev.job.demo_book import fill_demo_book
from truekev.sheets.content import Fact, Facts, Figure, Grid, Label, Sheet, SheetStep, Steps, Words, texts_of
from truekev.sheets.for_record import BATCH_SHEETS, SHELF_SHEETS, sheet_for
from truekev.sheets.html import sheet_html
from truekev.sheets.pdf import sheet_pdf

ON = date(2026, 11, 25)
NASTY = '<script>alert(1)</script> #import "x" $x$ *b* _i_ \\ `raw` @ref "q" & 室温 🦆'


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    with fill_demo_book(tmp_path_factory.mktemp("demo") / "demo.book") as book:
        yield book


@pytest.fixture(scope="module")
def sheets(demo) -> dict[str, Sheet]:
    batch = demo.current(Batch)[0].id
    made = {f"batch {which}": sheet_for(demo, str(batch), ON, which=which) for which in BATCH_SHEETS}
    made |= {word: sheet_for(demo, word, ON) for word in SHELF_SHEETS}
    for model in (Source, Scale, Relock, Recovery):
        made |= {f"{model.kind} {r.id}": sheet_for(demo, str(r.id), ON) for r in demo.current(model)}
    made |= _answers(demo)
    made["jar"] = sheet_for(demo, str(demo.lines("waste")[0].id), ON)
    return made


def _answers(demo) -> dict[str, Sheet]:
    """Sheets of an assay, with a plan, of the rods as they are, and of the rods once their answer is kept."""
    count = demo.current(SpectrumFile, "Rods, one hour")[0]
    rods = demo.current(Source, "Rod bundle, drawer 3")[0]
    asked = CountAsked(count.id, sample_text("rods", 10.0, 1.0, {}), rods.id)
    assay = assay_in_book(demo, AssayAsked(asked, ("Th-228 part", "Cs-137"), plan=20_000.0))
    own = own_source_in_book(demo, OwnSourceAsked(asked))
    return {
        "assay": sheet_for(demo, str(assay.id), ON),
        "own source": sheet_for(demo, str(own.id), ON),
        "rods counted": sheet_for(demo, str(rods.id), ON),
    }


def test_the_sheets_of_answers(sheets):
    assay, own, rods = (sheets[name] for name in ("assay", "own source", "rods counted"))
    heads = {part.title for part in assay.parts if not isinstance(part, Figure | Label)}
    assert "Characteristic limits (ISO 11929-1), alpha = 0.05, beta = 0.05" in heads
    assert "How long to count" in heads
    assert any("Ra-228 over Th-228" in fact.name for fact in own.results)
    assert any(isinstance(part, Grid) and "Photons per second" in part.title for part in own.parts)
    assert any(isinstance(part, Facts) and "what it holds" in part.title for part in rods.parts)


def _document(pdf: bytes) -> pypdfium2.PdfDocument:
    return pypdfium2.PdfDocument(pdf)


def _text(pdf: bytes) -> str:
    document = _document(pdf)
    text = "".join(document[i].get_textpage().get_text_range() for i in range(len(document)))
    document.close()
    return re.sub(r"[\s\u200b\ufffe\u00ad-]+", "", text)


def _ink_outside(pdf: bytes, margin_mm: float = 14.0) -> int:
    """Dark pixels nearer to the left or right edge than the margin, on all pages."""
    document = _document(pdf)
    n = 0
    for i in range(len(document)):
        picture = document[i].render(scale=1.0, grayscale=True).to_numpy().squeeze()
        edge = round(margin_mm / 25.4 * 72)
        n += int((picture[:, :edge] < 160).sum() + (picture[:, -edge:] < 160).sum())
    document.close()
    return n


def test_every_sheet_as_pdf(sheets):
    assert len(sheets) >= 12
    for name, sheet in sheets.items():
        pdf = sheet_pdf(sheet)
        text = _text(pdf)
        assert re.sub(r"[\s-]+", "", sheet.title) in text, name
        for fact in sheet.results:
            assert re.sub(r"[\s-]+", "", fact.value) in text, (name, fact)
        for who in sheet.sign:
            assert re.sub(r"[\s-]+", "", who) in text, name
        assert "[U+" not in text, f"{name}: a glyph is missing"
        assert _ink_outside(pdf) == 0, f"{name}: something runs over the edge"


def test_every_sheet_says_what_it_rests_on(sheets):
    for name, sheet in sheets.items():
        assert any("sha256" in line for line in sheet.versions), name
        assert any("truekev" in line for line in sheet.versions), name
        assert sheet.cautions, name
        assert sheet.sign, name
        assert not any("certificate" in text.lower() for text in (sheet.title, sheet.subtitle)), name


def test_a_home_made_source_gets_a_record_never_a_certificate(demo, sheets):
    vial = next(r for r in demo.current(Source) if r.body.home_made)
    sheet = sheets[f"source {vial.id}"]
    assert sheet.title == "Source record"
    label = next(part for part in sheet.parts if isinstance(part, Label))
    assert label.trefoil
    assert label.heading == "RADIOACTIVE"
    assert "Th-232 with daughters" in label.lines
    assert any("±" in line and "Bq on 2026-11-25" in line for line in label.lines)


def test_results_carry_uncertainty_or_say_that_they_are_a_band(sheets):
    number = re.compile(r"\d\.\d")
    for name, sheet in sheets.items():
        for fact in sheet.results:
            said = f"{fact.name} {fact.value} {fact.remark}"
            if number.search(fact.value):
                marks = ("±", " to ", "about", "estimate", "planned", "model", "times the published")
                assert any(mark in said for mark in marks), (name, fact)


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: set[str] = set()

    def handle_starttag(self, tag, attrs):
        self.seen.add(tag)
        if tag not in ("img", "br", "rect", "circle", "path"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag not in ("rect", "circle", "path"):
            assert self.open.pop() == tag


def _nasty_sheet() -> Sheet:
    png = io.BytesIO()
    from PIL import Image

    Image.new("RGB", (4, 4)).save(png, "png")
    return Sheet(
        title=NASTY,
        subtitle=NASTY,
        cautions=(NASTY,),
        results=(Fact(NASTY, NASTY, NASTY),),
        parts=(
            Grid(NASTY, (NASTY, "b"), ((NASTY, "x" * 400),)),
            Steps(NASTY, (SheetStep(NASTY, NASTY, (NASTY,)),)),
            Words(NASTY, (NASTY,)),
            Figure(png.getvalue(), NASTY, NASTY),
            Label(NASTY, (NASTY,) * 12, trefoil=True),
        ),
        versions=(NASTY,),
        sign=(NASTY,),
    )


def test_nothing_in_a_text_becomes_markup():
    page = sheet_html(_nasty_sheet())
    tags = _Tags()
    tags.feed(page)
    assert tags.open == []
    assert "script" not in tags.seen
    pdf = sheet_pdf(_nasty_sheet())
    text = _text(pdf)
    assert '<script>alert(1)</script>#import"x"$x$*b*_i_' in text
    assert "[U+5BA4][U+6E29][U+1F986]" in text
    assert _ink_outside(pdf) == 0


def test_pages_are_well_formed(sheets):
    for sheet in sheets.values():
        tags = _Tags()
        tags.feed(sheet_html(sheet))
        assert tags.open == []
        assert "style" not in tags.seen


def test_figures_can_stand_elsewhere(sheets):
    page = sheet_html(sheets["batch plan"], lambda number, figure: f"/figures/{number}")
    assert 'src="/figures/0"' in page
    assert "data:" not in page


def test_same_content_same_bytes(sheets):
    assert sheet_pdf(sheets["spill"]) == sheet_pdf(sheets["spill"])


def test_spill_and_finder_say_what_matters(sheets):
    spill = " ".join(texts_of(sheets["spill"]))
    for words in ("No vacuum cleaner", "wet wipes", "respirator P3", "cannot clear alpha"):
        assert words in spill
    finder = " ".join(texts_of(sheets["finder"]))
    for words in ("do not open", "Do not throw", "drain", "licensed disposer"):
        assert words in finder
    moving = " ".join(texts_of(sheets["moving"]))
    for words in ("Ask the carrier", "Room without rods", "Count the new room", "SSR-6"):
        assert words in moving


def test_what_has_no_sheet(demo, tmp_path):
    with pytest.raises(InputError, match="is a note; sheets are made of"):
        sheet_for(demo, str(demo.current(Note)[0].id), ON)
    with pytest.raises(UnknownNameError):
        sheet_for(demo, "shelv", ON)
    with pytest.raises(UnknownNameError):
        sheet_for(demo, str(demo.current(Batch)[0].id), ON, which="plam")
    with pytest.raises(InputError, match="one sheet only"):
        sheet_for(demo, str(demo.current(Source)[0].id), ON, which="plan")
    with Book.create(tmp_path / "empty.book", "Empty") as empty:
        for word in SHELF_SHEETS:
            assert sheet_pdf(sheet_for(empty, word, ON)).startswith(b"%PDF")
        empty.add(Find(name=NASTY[:200], what="x", place="y", found_on=ON))
        assert sheet_pdf(sheet_for(empty, "shelf", ON)).startswith(b"%PDF")


def test_command(demo, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    run = CliRunner()
    number = str(demo.current(Source)[0].id)
    made = run.invoke(app, ["sheet", number, "--book", str(demo.path), "--on", "2026-11-25"], catch_exceptions=False)
    assert made.exit_code == 0
    assert (tmp_path / f"sheet-{number}.pdf").read_bytes().startswith(b"%PDF")
    page = run.invoke(app, ["sheet", "finder", "--book", str(demo.path), "--out", "f.html"])
    assert page.exit_code == 0
    assert (tmp_path / "f.html").read_text().startswith('<article class="sheet">')
    told = run.invoke(app, ["sheet", number, "--book", str(demo.path), "--json"])
    assert '"title": "Source record"' in told.output
    bad = run.invoke(app, ["sheet", number, "--book", str(demo.path), "--out", "x.doc"])
    assert isinstance(bad.exception, InputError)
