"""The user's own additions to a pack: laid over it, checked, and seen wherever the pack is used."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from voicenotes import load_pack, read_text
from voicenotes.cli.main import app
from voicenotes.errors import PackError
from voicenotes.speech.engine import SpeechMaterial
from voicenotes.vocabulary.load import load_shipped_pack
from voicenotes.vocabulary.material import speech_material
from voicenotes.vocabulary.overlay import (
    ARPABET,
    AddedMishearing,
    AddedSounds,
    AddedTerm,
    LearnedFrom,
    Overlay,
    overlay_file,
    read_overlay,
    with_overlay,
)
from voicenotes.vocabulary.overlay_text import overlay_text
from voicenotes.vocabulary.pronunciation import bundled_dictionary

TERM = "pack: small\nterms:\n  - {check: tank.leaks, term: drain cock}\n"
HEARD = "pack: small\nmisheard:\n  - {heard: cool ant tonk, said: coolant tank, means: [tank]}\n"
SOUNDS = "pack: small\npronunciations:\n  - {word: tailstock, sounds: [T EY L S T AA K, T EY L Z T AO K]}\n"


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder that the user's additions stand in."""
    folder = tmp_path / "own"
    folder.mkdir()
    monkeypatch.setenv("VOICENOTES_OVERLAYS", str(folder))
    return folder


def write(own: Path, text: str) -> Path:
    path = own / "small.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_term_of_ones_own_is_read(pack: Path, own: Path) -> None:
    said = "the drain cock leaks"
    assert read_text(said, load_pack(pack)).check("tank.leaks").outcome == "not_mentioned"
    write(own, TERM)
    assert read_text(said, load_pack(pack)).check("tank.leaks").outcome == "defect"
    assert read_text("the drain cocks leak", load_pack(pack)).check("tank.leaks").outcome == "defect"


def test_a_mishearing_of_ones_own_is_read(pack: Path, own: Path) -> None:
    said = "cool ant tonk leaks"
    assert read_text(said, load_pack(pack)).check("tank.leaks").outcome == "not_mentioned"
    write(own, HEARD)
    finding = read_text(said, load_pack(pack)).check("tank.leaks")
    assert finding.outcome == "defect"
    assert "misheard" in finding.evidence[0].why


def test_how_a_word_is_said_goes_to_the_engine(pack: Path, own: Path) -> None:
    write(own, SOUNDS)
    material = speech_material(load_pack(pack))
    assert material.pronunciations["tailstock"] == ("T EY L S T AA K", "T EY L Z T AO K")


@pytest.mark.parametrize(
    ("text", "heard_again"),
    [(TERM, True), (SOUNDS, True), (HEARD, False), ("pack: small\ndeclined: [x]\n", False)],
)
def test_recordings_are_heard_again_only_where_engines_are_told_something_else(
    pack: Path, own: Path, text: str, heard_again: bool
) -> None:
    """Kept transcripts are found by the material's digest (hearing/kept.py)."""
    before = speech_material(load_pack(pack))
    write(own, text)
    after = speech_material(load_pack(pack))
    assert isinstance(after, SpeechMaterial)
    assert (before.digest != after.digest) is heard_again


def test_a_pack_with_additions_has_a_mark_of_its_own(pack: Path, own: Path) -> None:
    bare = load_pack(pack)
    write(own, TERM)
    one = load_pack(pack)
    write(own, TERM + HEARD.partition("\n")[2])
    two = load_pack(pack)
    assert len({bare.digest, one.digest, two.digest}) == 3
    assert bare.version == "3" and one.version.startswith("3+own.") and two.version != one.version
    assert read_text("spindle growls", one).pack.version == one.version


def test_where_it_comes_from_changes_no_mark(pack: Path, own: Path) -> None:
    write(own, TERM)
    one = load_pack(pack)
    origin = 'learned_from: [{visit: a, recording: b, start: 1.0, quote: c, by: d, at: "2024"}]'
    write(own, f"pack: small\nterms:\n  - {{check: tank.leaks, term: drain cock, {origin}}}\ndeclined: [y]\n")
    assert load_pack(pack) == one


def test_nothing_added_is_the_pack_itself(pack: Path, own: Path) -> None:
    bare = load_pack(pack)
    write(own, "pack: small\ndeclined: [something]\n")
    assert load_pack(pack) == bare == load_shipped_pack(pack)


def test_what_is_shipped_stays_as_it_is(pack: Path, own: Path) -> None:
    bare = load_shipped_pack(pack)
    write(own, TERM)
    assert load_pack(pack) != bare
    assert load_shipped_pack(pack) == bare


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("pack: [", "line 2"),
        ("", "line 1: is no file of additions"),
        ("- a\n- b\n", "line 1: is no file of additions"),
        ("pack: other\n", "line 1: holds additions to the pack 'other', not to 'small'"),
        ("terms: []\n", "pack"),
        ("pack: small\nwords: []\n", "line 2: words"),
        ("pack: small\nterms:\n  - {check: tank, term: drain cock}\n", "line 3: terms.check"),
        ("pack: small\nterms:\n  - {check: tank.leaks, term: Drain Cock}\n", "line 3: terms.term"),
        ("pack: small\nterms:\n  - {check: tank.leaks, term: (a|b}\n", "line 3: terms.term"),
        ("pack: small\nmisheard:\n  - {heard: (a|b), said: c, means: [tank]}\n", "line 3: misheard.heard"),
        ("pack: small\nmisheard:\n  - {heard: a, said: c, means: []}\n", "line 3: misheard.means"),
        ("pack: small\npronunciations:\n  - {word: jaw, sounds: [J AO]}\n", "'J' is no sound of it"),
        ("pack: small\npronunciations:\n  - {word: jaw, sounds: []}\n", "line 3: pronunciations.sounds"),
    ],
)
def test_a_file_that_cannot_be_right_is_named_in_one_line(
    pack: Path, own: Path, text: str, line: str
) -> None:
    path = write(own, text)
    with pytest.raises(PackError) as raised:
        load_pack(pack)
    message = str(raised.value)
    assert message.startswith(str(path))
    assert line in message
    assert "\n" not in message


def test_a_folder_or_bytes_in_its_place_are_named(pack: Path, own: Path) -> None:
    (own / "small.yaml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(PackError, match=r"small\.yaml: can't be read"):
        load_pack(pack)
    (own / "small.yaml").unlink()
    (own / "small.yaml").mkdir()
    with pytest.raises(PackError, match=r"small\.yaml: can't be read"):
        load_pack(pack)


def test_additions_to_what_the_pack_has_no_more_are_left_out_with_a_line(pack: Path, own: Path) -> None:
    """An older version of the pack had such a check."""
    path = write(
        own,
        TERM
        + "  - {check: tank.level, term: sight glass}\n"
        + "misheard:\n  - {heard: tonk, said: tank, means: [tank, old_part]}\n",
    )
    loaded = load_pack(pack)
    assert read_text("the drain cock leaks", loaded).check("tank.leaks").outcome == "defect"
    assert [line.startswith(f"{path}: ") for line in loaded.notes] == [True, True]
    assert "'sight glass' is left out, as the pack 'small' has no 'tank.level' any more" in loaded.notes[0]
    assert "no 'old_part' any more" in loaded.notes[1]
    ran = CliRunner().invoke(app, ["explain", "the drain cock leaks", "--pack", str(pack)])
    assert ran.exit_code == 0
    assert "no 'tank.level' any more" in ran.stderr


def test_the_folder_is_that_of_the_environment_else_the_users_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import platformdirs

    monkeypatch.setattr(platformdirs, "user_config_path", lambda *_, **__: tmp_path / "config")
    monkeypatch.delenv("VOICENOTES_OVERLAYS")
    assert overlay_file("small") == tmp_path / "config" / "overlays" / "small.yaml"
    monkeypatch.setenv("VOICENOTES_OVERLAYS", str(tmp_path / "there"))
    assert overlay_file("small") == tmp_path / "there" / "small.yaml"
    assert overlay_file("small", tmp_path) == tmp_path / "small.yaml"


def test_sounds_are_those_of_the_dictionary() -> None:
    """CMUdict as it comes with pocketsphinx uses these symbols and no others."""
    used = {symbol for said in bundled_dictionary().values() for one in said for symbol in one.split()}
    assert used == ARPABET


def test_lint_says_what_is_added(pack: Path, own: Path) -> None:
    path = write(own, TERM)
    ran = CliRunner().invoke(app, ["lint", str(pack), "--overlay", str(path)])
    assert (ran.exit_code, ran.stdout) == (
        0,
        f"{path}: 1 term, 0 mishearings, 0 pronunciations, 0 declined; no faults\n",
    )
    path.write_text("pack: small\nterms: 7\n")
    ran = CliRunner().invoke(app, ["lint", str(pack)])
    assert ran.exit_code == 2
    assert f"{path}, line 2: terms" in ran.stderr
    ran = CliRunner().invoke(app, ["lint", str(pack), "--overlay", str(own / "none.yaml")])
    assert ran.exit_code == 2


texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
origins = st.builds(
    LearnedFrom, visit=texts, recording=texts, start=st.floats(0, 1e7), quote=texts, by=texts, at=texts
)
words = st.sampled_from(["no", "yes", "null", "true", "on", "drain cock", "e", "way wiper", "y"])
overlays = st.builds(
    Overlay,
    pack=st.just("small"),
    terms=st.lists(
        st.builds(AddedTerm, check=st.just("a.b"), term=words, learned_from=st.tuples(origins)), max_size=2
    ).map(tuple),
    misheard=st.lists(
        st.builds(AddedMishearing, heard=words, said=words, means=st.just(("a", "a.b"))), max_size=2
    ).map(tuple),
    pronunciations=st.lists(
        st.builds(AddedSounds, word=st.sampled_from(["no", "jaw"]), sounds=st.just(("JH AO", "N OW"))),
        max_size=2,
    ).map(tuple),
    declined=st.lists(texts, max_size=3).map(tuple),
)


@given(overlays)
def test_what_is_written_reads_as_the_same(
    tmp_path_factory: pytest.TempPathFactory, overlay: Overlay
) -> None:
    path = tmp_path_factory.getbasetemp() / "small.yaml"
    path.write_text(overlay_text(overlay), encoding="utf-8")
    assert read_overlay(path, "small") == overlay


def test_additions_can_be_laid_over_without_a_file(pack: Path) -> None:
    added = Overlay(pack="small", terms=(AddedTerm(check="tank.leaks", term="drain cock"),))
    whole = with_overlay(load_pack(pack), added)
    assert read_text("the drain cock leaks", whole).check("tank.leaks").outcome == "defect"


def test_an_own_copy_of_a_pack_has_the_same_additions(pack: Path, own: Path, tmp_path: Path) -> None:
    """They go by the pack's id, wherever it stands."""
    write(own, TERM)
    copy = shutil.copytree(pack, tmp_path / "elsewhere")
    assert load_pack(copy).digest == load_pack(pack).digest
