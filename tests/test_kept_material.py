"""Speech material kept on disk is what would be drawn anew, or it is drawn anew."""

from __future__ import annotations

from pathlib import Path

import pytest

from voicenotes.vocabulary import kept_material
from voicenotes.vocabulary.kept_material import FOLDER, MOST_KEPT, kept_speech_material
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.material import Drawn, drawn_from, speech_material
from voicenotes.vocabulary.schema import Pack


@pytest.fixture
def drawings(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The ids of the packs that were drawn from, in order."""
    seen: list[str] = []

    def noted(pack: Pack) -> Drawn:
        seen.append(pack.id)
        return drawn_from(pack)

    monkeypatch.setattr(kept_material, "drawn_from", noted)
    return seen


def kept_file(cache: Path) -> Path:
    (only,) = (cache / FOLDER).glob("*.json")
    return only


def test_the_second_time_it_comes_from_the_disk_and_is_the_same(
    pack: Path, tmp_path: Path, drawings: list[str]
) -> None:
    loaded = load_pack(pack)
    first, second = (kept_speech_material(loaded, tmp_path) for _ in range(2))
    assert first == second == speech_material(loaded)
    assert drawings == [loaded.id]


@pytest.mark.parametrize("spoilt", [b"", b"{}", b"\xff\xfe", b"0\n{}"])
def test_a_spoilt_file_is_drawn_anew(pack: Path, tmp_path: Path, drawings: list[str], spoilt: bytes) -> None:
    loaded = load_pack(pack)
    whole = kept_speech_material(loaded, tmp_path)
    kept_file(tmp_path).write_bytes(spoilt)
    assert kept_speech_material(loaded, tmp_path) == whole
    kept_speech_material(loaded, tmp_path)
    assert len(drawings) == 2


def test_a_bit_that_flipped_is_seen(pack: Path, tmp_path: Path, drawings: list[str]) -> None:
    loaded = load_pack(pack)
    whole = kept_speech_material(loaded, tmp_path)
    content = bytearray(kept_file(tmp_path).read_bytes())
    content[len(content) // 2] ^= 1
    kept_file(tmp_path).write_bytes(content)
    assert kept_speech_material(loaded, tmp_path) == whole
    assert len(drawings) == 2


def test_new_dictation_new_sentences_and_a_changed_pack_are_drawn_anew(
    pack: Path, tmp_path: Path, drawings: list[str]
) -> None:
    digests = [kept_speech_material(load_pack(pack), tmp_path).digest]
    (pack / "dictation").mkdir(exist_ok=True)
    (pack / "dictation" / "more.txt").write_text("the wheel squeals like a gate\n", encoding="utf-8")
    digests.append(kept_speech_material(load_pack(pack), tmp_path).digest)
    sentences = pack / "sentences" / "later.yaml"
    sentences.parent.mkdir(exist_ok=True)
    sentences.write_text("- say: the wheel hums along\n  expect: {}\n", encoding="utf-8")
    digests.append(kept_speech_material(load_pack(pack), tmp_path).digest)
    changed = load_pack(pack)
    changed = changed.model_copy(update={"carriers": (*changed.carriers, "nothing to say of the {check}")})
    digests.append(kept_speech_material(changed, tmp_path).digest)
    assert len(set(digests)) == len(drawings) == 4


def test_only_so_many_are_kept(pack: Path, tmp_path: Path) -> None:
    loaded = load_pack(pack)
    for number in range(MOST_KEPT + 2):
        kept_speech_material(
            loaded.model_copy(update={"carriers": (f"the {{check}} took {'so ' * number}long",)}), tmp_path
        )
    assert len([*(tmp_path / FOLDER).glob("*.json")]) == MOST_KEPT


def test_where_nothing_can_be_kept_it_is_drawn(pack: Path, tmp_path: Path, drawings: list[str]) -> None:
    (tmp_path / FOLDER).write_text("in the way")
    loaded = load_pack(pack)
    assert kept_speech_material(loaded, tmp_path) == speech_material(loaded)
    assert kept_speech_material(loaded, tmp_path) == speech_material(loaded)
    assert len(drawings) == 2
