"""Templates and data as PDFs: text stays text, the same bytes each time, nothing from outside.

What a PDF says is read back with the library pypdf, which knows nothing of the one that sets it.
"""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import pypdf
import pytest

from voicenotes.errors import SheetError
from voicenotes.outputs.typeset import typeset

TEMPLATE = """
#import "common.typ": *
#set page(paper: papers.at(data.paper))
#set text(font: body-font)
#for line in data.lines [ #line #parbreak() ]
"""
HOSTILE = [
    '#panic("no")',
    "a * b * c _d_",
    'he said "no" \\ $x$ @label <a>',
    "[ ] // no comment",
    "naïve 5 µm ≤ ø",
]
SIZES_PT = {
    "a4": (595.28, 841.89),
    "letter": (612.0, 792.0),
}  # ISO 216: 210 x 297 mm; ANSI Y14.1: 8.5 x 11 in


@pytest.fixture
def templates(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "common.typ").write_bytes((typeset.TEMPLATES / "common.typ").read_bytes())
    (tmp_path / "page.typ").write_text(TEMPLATE, encoding="utf-8")
    monkeypatch.setattr(typeset, "TEMPLATES", tmp_path)
    return tmp_path


def text_of(made: bytes) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(made)).pages)


def test_every_sign_in_the_data_is_text(templates: Path) -> None:
    made = typeset.pdf("page", {"paper": "a4", "lines": HOSTILE})
    assert [line.strip() for line in text_of(made).splitlines() if line.strip()] == HOSTILE


@pytest.mark.parametrize("paper", typeset.PAPERS)
def test_paper_has_the_size_of_its_standard(templates: Path, paper: str) -> None:
    made = typeset.pdf("page", {"paper": paper, "lines": ["x"]})
    (page,) = pypdf.PdfReader(io.BytesIO(made)).pages
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(
        SIZES_PT[paper], abs=0.01
    )


def test_the_same_data_give_the_same_bytes(templates: Path) -> None:
    first, second, other = (typeset.pdf("page", {"paper": "a4", "lines": [word]}) for word in "aab")
    assert first == second != other


def test_fonts_are_inside_the_file(templates: Path) -> None:
    (page,) = pypdf.PdfReader(io.BytesIO(typeset.pdf("page", {"paper": "a4", "lines": ["x"]}))).pages
    fonts = [font.get_object() for font in page["/Resources"]["/Font"].get_object().values()]
    assert fonts
    for font in fonts:
        descriptor = font["/DescendantFonts"][0]["/FontDescriptor"]
        assert {"/FontFile2", "/FontFile3"} & set(descriptor)


def png_chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


# PNG (ISO/IEC 15948): one grey pixel.
PNG = (
    b"\x89PNG\r\n\x1a\n"
    + png_chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
    + png_chunk(b"IDAT", zlib.compress(b"\x00\x80"))
    + png_chunk(b"IEND", b"")
)
SVG = b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><rect width="9" height="9"/></svg>'


@pytest.mark.parametrize(("name", "content"), [("photos/one.svg", SVG), ("photos/one.png", PNG)])
def test_pictures_are_given_with_the_data(templates: Path, name: str, content: bytes) -> None:
    (templates / "photo.typ").write_text(f'#image("{name}", width: 2cm)', encoding="utf-8")
    made = [typeset.pdf("photo", {}, {name: content}) for _ in range(2)]
    assert made[0] == made[1]
    assert len(pypdf.PdfReader(io.BytesIO(made[0])).pages) == 1
    with pytest.raises(SheetError, match="the page 'photo' can't be set"):
        typeset.pdf("photo", {})
    with pytest.raises(SheetError, match="the page 'photo' can't be set"):
        typeset.pdf("photo", {}, {name: b"no picture"})


@pytest.mark.parametrize(("name", "line"), [("nowhere", "missing"), ("page", "can't be set")])
def test_what_cannot_be_set_is_one_line(templates: Path, name: str, line: str) -> None:
    with pytest.raises(SheetError, match=line) as caught:
        typeset.pdf(name, {"lines": []})
    assert "\n" not in str(caught.value)


def test_no_file_of_the_machine_can_be_read(templates: Path) -> None:
    (templates / "spy.typ").write_text('#read("/etc/hostname")', encoding="utf-8")
    with pytest.raises(SheetError):
        typeset.pdf("spy", {})
