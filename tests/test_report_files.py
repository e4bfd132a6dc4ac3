"""The command `report`, the files that it writes, and photos."""

from __future__ import annotations

import base64
import io
import json
import re
from pathlib import Path

import pytest
from PIL import Image
from pypdf import PdfReader
from typer.testing import CliRunner

import voicenotes
import voicenotes.visit
from voicenotes.cli.main import app
from voicenotes.report.build import report_of
from voicenotes.report.pictures import LONGEST_SIDE, pictures_of, scaled
from voicenotes.report.write import rendered

FILES = {"report.html", "report.pdf", "report.xlsx", "report.csv", "report.md", "report.json"}


@pytest.fixture
def visit(pack: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "visit"
    folder.mkdir()
    (folder / "memo.txt").write_text("Spindle growls. Coolant tank is dry.", encoding="utf-8")
    voicenotes.process_visit(folder, pack=pack)
    return folder


def run(*words: object) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["report", *map(str, words)])
    return done.exit_code, done.output


def test_all_formats_go_into_the_visits_report_folder(visit: Path, pack: Path) -> None:
    before = {path.name: path.read_bytes() for path in visit.iterdir() if path.is_file()}
    code, said = run(visit, "--pack", pack)
    assert code == 0
    assert {path.name for path in (visit / "report").iterdir()} == FILES
    assert all(str(visit / "report" / name) in said for name in FILES)
    assert {path.name: path.read_bytes() for path in visit.iterdir() if path.is_file()} == before
    first = {path.name: path.read_bytes() for path in (visit / "report").iterdir()}
    assert run(visit, "--pack", pack)[0] == 0
    assert {path.name: path.read_bytes() for path in (visit / "report").iterdir()} == first
    assert voicenotes.visit.what_changed(visit, voicenotes.visit.load_record(visit)) == []


def test_formats_paper_and_folder_can_be_chosen(visit: Path, pack: Path, tmp_path: Path) -> None:
    code, _ = run(
        visit, "--pack", pack, "--to", tmp_path / "out", "--formats", "pdf, json", "--paper", "letter"
    )
    assert code == 0
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"report.pdf", "report.json"}
    page = PdfReader(tmp_path / "out" / "report.pdf").pages[0]
    assert round(page.mediabox.width) == 612
    assert json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))["checks"]
    assert not (visit / "report").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--formats", "docx"], "is no format; choose from html, pdf"),
        (["--formats", ""], "is no format"),
        (["--costs", "nowhere.yaml"], "no such file"),
    ],
)
def test_wrong_use_is_refused_in_one_line(words: list[str], said: str, visit: Path, pack: Path) -> None:
    code, output = run(visit, "--pack", pack, *words)
    assert code == 2
    assert said in output and len(output.strip().splitlines()) == 1
    assert not (visit / "report").exists()


def test_nothing_is_written_through_a_link(visit: Path, pack: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (visit / "report").symlink_to(tmp_path / "elsewhere")
    code, output = run(visit, "--pack", pack)
    assert code == 2 and "is a link" in output
    assert list((tmp_path / "elsewhere").iterdir()) == []


# --- photos -----------------------------------------------------------------------------------------


def photo(size: tuple[int, int] = (3000, 2000), turned: bool = False) -> bytes:
    """A JPEG with a place in its metadata; `turned` marks it as taken upright (Exif orientation 6)."""
    image, exif = Image.new("RGB", size, "teal"), Image.Exif()
    exif[0x010F] = "Maker of the camera"
    if turned:
        exif[0x0112] = 6
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif)
    return out.getvalue()


def test_a_photo_is_scaled_turned_and_freed_of_metadata() -> None:
    picture = scaled(photo(turned=True))
    with Image.open(io.BytesIO(picture.jpeg)) as shown:
        assert shown.format == "JPEG" and shown.size == (picture.width, picture.height)
        assert shown.size == (800, LONGEST_SIDE)
        assert dict(shown.getexif()) == {}
    assert b"Maker of the camera" not in picture.jpeg


@pytest.mark.parametrize("content", [b"", b"no picture", photo()[:300], b"<svg onload='alert(1)'/>"])
def test_what_is_no_picture_is_not_shown(content: bytes) -> None:
    picture = scaled(content)
    assert picture.problem and not picture.jpeg and "\n" not in picture.problem


@pytest.mark.parametrize(
    "name", ["../secret.jpg", "/etc/passwd", "..", "", "a/b.jpg", "link.jpg", "none.jpg", "sub"]
)
def test_no_photo_comes_from_outside_the_visit(name: str, tmp_path: Path) -> None:
    folder = tmp_path / "visit"
    (folder / "sub").mkdir(parents=True)
    (tmp_path / "secret.jpg").write_bytes(photo())
    (folder / "link.jpg").symlink_to(tmp_path / "secret.jpg")
    assert pictures_of(folder, [name])[name].problem


def test_photos_stand_in_the_page_and_in_the_pdf(visit: Path, pack: Path) -> None:
    (visit / "front <b>.jpg").write_bytes(photo((400, 300)))
    (visit / "broken.jpg").write_bytes(b"no picture")
    pictures = pictures_of(visit, ["front <b>.jpg", "broken.jpg"])
    loaded = voicenotes.load_pack(pack)
    report = report_of(voicenotes.visit.load_record(visit), loaded, pictures)
    page = str(rendered(report, "html", pictures))
    (data,) = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', page)
    assert base64.b64decode(data) == pictures["front <b>.jpg"].jpeg
    assert 'alt="Photo: front &lt;b&gt;.jpg"' in page and "broken.jpg can&#x27;t be shown" in page
    content = rendered(report, "pdf", pictures)
    reader = PdfReader(io.BytesIO(bytes(content)))  # type: ignore[arg-type]
    assert sum(len(page.images) for page in reader.pages) == 1
    assert "front <b>.jpg" in "".join(page.extract_text() for page in reader.pages)
