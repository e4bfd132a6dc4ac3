"""Hostile, foreign, long, no and many quotes in a report: they stay text in every format."""

from __future__ import annotations

import io
import re
import shutil
import unicodedata
from functools import lru_cache
from pathlib import Path

import openpyxl
import pytest
from correcting import by, settle, wording
from pypdf import PdfReader
from report_texts import FORMATS, cells_of, csv_rows, parsed, pdf_text, squeezed, text_of
from small_pack import write_pack

import voicenotes
from voicenotes.corrections.values import Add, Correction, SetFact
from voicenotes.model import Evidence, FactFinding, Record
from voicenotes.outputs.typeset import typeset
from voicenotes.outputs.typeset.drawable import drawable, spans
from voicenotes.report.build import report_of
from voicenotes.report.markdown import escaped
from voicenotes.report.spreadsheets import harmless
from voicenotes.report.words import clean
from voicenotes.report.write import rendered
from voicenotes.vocabulary.schema import Pack

MARKUP = (
    "<script>alert(1)</script>",
    '<img src="http://evil.invalid/x.png" onerror="alert(1)">',
    "\"><svg onload='alert(1)'>",
    "</style><script src=//evil.invalid></script>",
    "--> <!-- <b>bold</b> &lt;i&gt; &amp; &#60;",
    "]]> ${7*7} {{7*7}} <%= 7*7 %>",
)
TYPST = (
    '#panic("out")',
    '#read("/etc/passwd")',
    "#import sys: * ; #sys.version",
    "$x^2$ *bold* _slanted_ `raw` = heading",
    "@label <label> // comment /* more */ \\# \\u{1f600} ~ -- ---",
    "] #pagebreak() [ ) } {",
)
MARKDOWN = (
    "[click](javascript:alert(1)) ![x](http://evil.invalid/x.png)",
    "# heading",
    "| a | b | `c|d` |",
    "- item 1. item * item + item",
    "``` fence ~~~ **bold** __bold__ ~~gone~~",
    "http://evil.invalid www.evil.invalid someone@evil.invalid <http://evil.invalid>",
    "a\\|b \\` [ref]: http://evil.invalid",
)
FORMULAS = (
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(A1:A9)",
    "\t=1+1",
    "\r=1+1",
    "\n=1+1",
    "  =1+1",
    "=cmd|'/C calc'!A0",
    '=HYPERLINK("http://evil.invalid","click")',
    "\uff1d1+1",
    "\u200b=1+1",
    "%0A=1+1",
    "|calc",
)
ALPHABETS = (
    "Привет, шпиндель",
    "Ελληνικά λόγια",
    "naïve Größe čeština Łódź",
    "e\u0301te\u0301 A\u030a",
    "日本語 テスト",
    "한국어 말",
    "ไทย คำ",
    "हिन्दी शब्द",
    "wrench \U0001f527 done \u2713",
    "\u202eturned round\u202c \u2066apart\u2069",
    "bell \x07 escape \x1b[31m null \x00 end",
)
QUOTES = MARKUP + TYPST + MARKDOWN + FORMULAS + ALPHABETS


@lru_cache
def small(folder: Path) -> Pack:
    return voicenotes.load_pack(write_pack(folder))


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    return small(tmp_path_factory.mktemp("pack") / "p")


def said(quote: str, recording: str = "memo.txt", polarity: str = "bad", basis: str = "seen") -> Evidence:
    return Evidence.model_validate(
        {
            "recording": recording,
            "start": 1.0,
            "end": 2.0,
            "quote": quote,
            "basis": basis,
            "polarity": polarity,
            "confidence": 0.9,
            "why": "by hand",
        }
    )


def record_with(pack: Pack, quotes: tuple[str, ...]) -> Record:
    """A record with the quotes in a defect, an open check, a good one, hearsay, a fact and as file names."""
    base = voicenotes.read_text("spindle growls", pack)
    fields = {
        "head.noise": {"evidence": tuple(said(quote, recording=quote) for quote in quotes)},
        "head.heat": {
            "outcome": "unsure",
            "evidence": tuple(said(quote, polarity="unsure") for quote in quotes),
        },
        "tank.leaks": {"outcome": "ok", "evidence": tuple(said(q, polarity="good") for q in quotes)},
        "head.runout": {"evidence": tuple(said(q, polarity="good", basis="told") for q in quotes)},
    }
    checks = tuple(check.model_copy(update=fields.get(check.id, {})) for check in base.checks)
    gaps = tuple(
        gap.model_copy(update={"why": f'unsure: "{quotes[0] if quotes else ""}"'})
        for gap in base.gaps
        if gap.id != "tank.leaks"
    )
    facts = {
        **base.facts,
        "maker": FactFinding(value=quotes[0] if quotes else None, evidence=tuple(said(q) for q in quotes)),
    }
    return base.model_copy(update={"checks": checks, "gaps": gaps, "facts": facts})


def corrections_with(record: Record, quotes: tuple[str, ...]) -> list[Correction]:
    """Corrections whose texts are the quotes: names, added findings, a wording, a reason."""
    of = zip(quotes, quotes[1:] + quotes[:1], strict=True)
    found = [by(Add(title=quote), who=other) for quote, other in of]
    return [
        *found,
        wording(record, "head.noise", quotes[0]),
        settle(record, "head.heat", FORMULAS[0]),
        by(SetFact(fact="serial", value=FORMULAS[1], was=record.facts["serial"].value)),
    ]


@pytest.fixture(scope="module")
def hostile(pack: Pack) -> dict[str, str | bytes]:
    record = record_with(pack, QUOTES)
    report = report_of(record, pack, corrections=corrections_with(record, QUOTES))
    return {format_: rendered(report, format_) for format_ in FORMATS}


@pytest.mark.parametrize("format_", FORMATS)
@pytest.mark.parametrize("quotes", [MARKUP, TYPST, MARKDOWN, FORMULAS, ALPHABETS], ids=range(5))
def test_hostile_quotes_are_shown_as_they_are(
    quotes: tuple[str, ...], format_: str, hostile: dict[str, str | bytes]
) -> None:
    text = unicodedata.normalize("NFC", text_of(format_, hostile[format_]))
    for quote in quotes:
        shown = drawable(clean(quote)) if format_ == "pdf" else unicodedata.normalize("NFC", clean(quote))
        assert squeezed(shown) in text, (format_, quote)


def test_no_quote_becomes_an_element_of_the_page(hostile: dict[str, str | bytes], pack: Pack) -> None:
    page = parsed(str(hostile["html"]))
    record = record_with(pack, ("a",))
    corrections = corrections_with(record, ("a",))
    plain = parsed(str(rendered(report_of(record, pack, corrections=corrections), "html")))
    assert set(page.tags) == set(plain.tags)
    assert "script" not in page.tags and "iframe" not in page.tags
    assert not [name for name, _ in page.attributes if name.startswith("on")]


def test_the_page_names_no_outside_address(hostile: dict[str, str | bytes]) -> None:
    page = parsed(str(hostile["html"]))
    assert page.tags.count("link") == 0
    addresses = [
        value or "" for name, value in page.attributes if name in ("href", "src", "action", "xlink:href")
    ]
    assert addresses and all(value.startswith(("#", "data:image/jpeg;base64,")) for value in addresses)
    assert not re.search(r"@import|url\(", str(hostile["html"]).partition("</style>")[0])


def test_no_quote_becomes_markdown(hostile: dict[str, str | bytes]) -> None:
    from markdown_it import MarkdownIt

    shown = parsed(MarkdownIt("commonmark").enable("table").render(str(hostile["md"])))
    allowed = {"h1", "h2", "p", "ul", "li", "table", "thead", "tbody", "tr", "th", "td", "br"}
    assert set(shown.tags) <= allowed
    assert shown.tags.count("h1") == 1


@pytest.mark.parametrize("quote", [*MARKDOWN, *MARKUP, "1. a", "    four blanks"])
def test_escaped_markdown_shows_exactly_the_text(quote: str) -> None:
    """Against markdown-it-py, an implementation of CommonMark that is not ours."""
    from markdown_it import MarkdownIt

    shown = parsed(MarkdownIt("commonmark").enable("table").render(escaped(quote)))
    assert set(shown.tags) == {"p"}
    assert "".join(shown.pieces).strip() == " ".join(quote.split())


# --- spreadsheets -----------------------------------------------------------------------------------


@pytest.mark.parametrize("text", FORMULAS)
def test_what_could_be_a_formula_gets_an_apostrophe(text: str) -> None:
    assert harmless(text) == f"'{text}"


@pytest.mark.parametrize("text", ["1+1=2", "a-b", "spindle @ 2000", "", "\u201c=1+1\u201d", "0.5"])
def test_other_text_stays_as_it_is(text: str) -> None:
    assert harmless(text) == text


def could_be_a_formula(text: str) -> bool:
    return text.lstrip(" \ufeff\u200b")[:1] in tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")


def test_no_cell_of_the_csv_can_be_a_formula(hostile: dict[str, str | bytes]) -> None:
    cells = [cell for row in csv_rows(str(hostile["csv"])) for cell in row if cell]
    assert any("=1+1" in cell for cell in cells)
    assert [cell for cell in cells if could_be_a_formula(cell)] == []


def test_no_cell_of_the_workbook_can_be_a_formula(hostile: dict[str, str | bytes]) -> None:
    cells = cells_of(bytes(hostile["xlsx"]))  # type: ignore[arg-type]
    texts = [cell.value for cell in cells if isinstance(cell.value, str)]
    assert any("=1+1" in text for text in texts)
    assert [text for text in texts if could_be_a_formula(text)] == []
    assert {cell.data_type for cell in cells} <= {"s", "n"}
    assert [cell for cell in cells if cell.hyperlink] == []


# --- the PDF ----------------------------------------------------------------------------------------


def test_each_end_of_the_drawable_ranges_is_drawn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ends = sorted({char for pair in spans() for char in map(chr, pair) if not unicodedata.combining(char)})
    shutil.copy(typeset.TEMPLATES / "common.typ", tmp_path)
    lines = [
        '#import "common.typ": *',
        "#set page(height: auto)",
        '#set text(font: (body-font, "DejaVu Sans Mono"))',
        "#for one in data.signs [#sym.zws|#one|\\ ]",
    ]
    (tmp_path / "signs.typ").write_text("\n".join(lines), encoding="utf-8")
    monkeypatch.setattr(typeset, "TEMPLATES", tmp_path)
    text = pdf_text(typeset.pdf("signs", {"signs": ends}))
    forms = text + unicodedata.normalize("NFC", text) + unicodedata.normalize("NFD", text)
    assert len(ends) > 150
    assert [f"U+{ord(char):04X}" for char in ends if char not in forms] == []


@pytest.mark.parametrize("words", ["שלום ציר", "مرحبا محور"])
def test_words_written_from_right_to_left_can_be_searched(words: str, pack: Pack) -> None:
    text = pdf_text(bytes(rendered(report_of(record_with(pack, (words,)), pack), "pdf")))  # type: ignore[arg-type]
    for word in words.split():
        assert word in text


def test_signs_without_a_font_stand_as_codes_and_a_line_says_so(pack: Pack) -> None:
    text = pdf_text(bytes(rendered(report_of(record_with(pack, ("日本",)), pack), "pdf")))  # type: ignore[arg-type]
    assert "[U+65E5 U+672C]" in text and "the HTML report shows them" in text
    plain = pdf_text(bytes(rendered(report_of(record_with(pack, ("growls",)), pack), "pdf")))  # type: ignore[arg-type]
    assert "U+" not in plain


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_pages_have_their_size_numbers_bookmarks_and_tags(
    paper: str, size: tuple[int, int], pack: Pack
) -> None:
    """A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in (ANSI/ASME Y14.1); a point is 1/72 in."""
    content = rendered(report_of(record_with(pack, QUOTES), pack), "pdf", paper=paper)
    reader = PdfReader(io.BytesIO(bytes(content)))  # type: ignore[arg-type]
    assert len(reader.pages) > 2
    for number, page in enumerate(reader.pages, 1):
        assert (round(page.mediabox.width), round(page.mediabox.height)) == size
        assert f"Page {number} of {len(reader.pages)}" in page.extract_text()
    bookmarks = [str(entry.title) for entry in reader.outline if not isinstance(entry, list)]
    assert {"Summary", "Walk round", "What was found", "What was NOT checked, and why"} <= set(bookmarks)
    assert reader.metadata and str(reader.metadata.title).startswith("Inspection report: Small lathe")
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]  # tagged (ISO 32000-1, 14.7)
    assert str(reader.trailer["/Root"]["/Lang"]).startswith("en")


# --- none, many, long -------------------------------------------------------------------------------


@pytest.mark.parametrize("format_", FORMATS)
def test_a_record_without_any_finding(format_: str, pack: Pack) -> None:
    record = voicenotes.read_text("", pack).model_copy(update={"recordings": ()})
    text = text_of(format_, rendered(report_of(record, pack), format_))
    assert squeezed("No defect was found in what was checked.") in text
    assert squeezed("NOT settled: 5 of the 5 checks") in text
    for check in record.checks:
        assert squeezed(check.title) in text


@pytest.mark.parametrize("format_", FORMATS)
def test_five_hundred_findings(format_: str, pack: Pack) -> None:
    base = voicenotes.read_text("spindle growls", pack)
    checks = tuple(
        base.checks[0].model_copy(
            update={"id": f"head.n{n}", "title": f"Part {n} of it", "evidence": (said(f"part {n} growls"),)}
        )
        for n in range(500)
    )
    report = report_of(base.model_copy(update={"checks": checks, "gaps": ()}), pack)
    text = text_of(format_, rendered(report, format_))
    assert [n for n in range(500) if squeezed(f"part {n} growls") not in text] == []
    assert squeezed("500 defects found") in text


@pytest.mark.parametrize("format_", FORMATS)
def test_very_long_quotes(format_: str, pack: Pack) -> None:
    """Longer than a page or a workbook's cell (32,767 characters), and one word wider than a line."""
    words = " ".join(f"word{n}" for n in range(800 if format_ == "pdf" else 6000))
    unbroken = "x" * 3000
    assert len(words) > (6_000 if format_ == "pdf" else 32_767 + 20_000)
    text = text_of(format_, rendered(report_of(record_with(pack, (words, unbroken)), pack), format_))
    assert squeezed(words) in text
    assert unbroken in text


def test_a_long_text_goes_on_in_the_cells_below(pack: Pack) -> None:
    report = report_of(record_with(pack, ("=" * 70_000,)), pack)
    book = openpyxl.load_workbook(io.BytesIO(bytes(rendered(report, "xlsx"))))  # type: ignore[arg-type]
    found = [
        cell.value for row in book["Only hearsay"].iter_rows() for cell in row if "===" in str(cell.value)
    ]
    assert len(found) == 3
    assert all(text.startswith("'=") and len(text) <= 32_767 for text in found)
    assert sum(text.count("=") for text in found) == 70_000
