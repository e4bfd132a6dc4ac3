"""Models fetched from a hub on this machine that breaks off, lies, or isn't there."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from local_hub import LocalHub, serving

from voicenotes.errors import EngineError
from voicenotes.speech import model_fetch
from voicenotes.speech.choose import auto_without_whisper, choose_engine
from voicenotes.speech.engine import SpeechMaterial
from voicenotes.speech.hub_offer import HubFile, file_hash_problem, megabytes, short_name
from voicenotes.speech.model_check import check_model
from voicenotes.speech.model_fetch import fetch_model
from voicenotes.speech.whisper_models import find_model, models_here, size_of

REPOSITORY = "Systran/faster-whisper-small"
FILES = {"config.json", "model.bin", "preprocessor_config.json", "tokenizer.json", "vocabulary.json"}


@pytest.fixture
def hub(tiny_model: Path, bare_machine: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[LocalHub]:
    """A hub with a small model, and a machine that has none; lost connections are tried again at once."""
    import huggingface_hub.file_download

    monkeypatch.setattr(huggingface_hub.file_download.time, "sleep", lambda _: None)
    monkeypatch.setattr(model_fetch, "STEP", 50_000)
    with serving(tiny_model, REPOSITORY) as hub:
        yield hub


def fetched(hub: LocalHub, name: str = "small") -> Path:
    return fetch_model(name, endpoint=hub.endpoint)


def refusal(hub: LocalHub, name: str = "small") -> str:
    with pytest.raises(EngineError) as caught:
        fetched(hub, name)
    assert "\n" not in str(caught.value)
    assert find_model("small") is None
    assert models_here() == []
    return str(caught.value)


def part_of(models: Path) -> Path:
    [part] = (models / ".fetching-small").glob("model.bin.*.part")
    return part


# --- all goes well ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["small", REPOSITORY])
def test_a_fetched_model_is_whole_and_known(
    hub: LocalHub, bare_machine: Path, tiny_model: Path, name: str
) -> None:
    folder = fetched(hub, name)
    assert folder == bare_machine / "small" == find_model("small")
    assert {path.name for path in folder.iterdir()} == FILES | {"voicenotes-model.json"}
    for file in FILES:
        assert (folder / file).read_bytes() == (tiny_model / file).read_bytes()
    about = json.loads((folder / "voicenotes-model.json").read_text())
    assert (about["name"], about["repository"]) == ("small", REPOSITORY)
    assert about["sha256"]["model.bin"] == hashlib.sha256((folder / "model.bin").read_bytes()).hexdigest()
    assert check_model("small")[-1].problem is None
    assert {path.name for path in bare_machine.iterdir()} <= {"small", ".fetching-small.lock"}
    assert {file for file, _ in hub.asked} == FILES  # README.md and what lies outside are not asked for


def test_size_and_free_space_are_said_first_and_progress_runs_to_the_end(hub: LocalHub) -> None:
    told: list[object] = []
    fetch_model(
        "small",
        lambda file, done, whole: told.append((file, done, whole)),
        lambda line: told.append(line),
        endpoint=hub.endpoint,
    )
    whole = sum(len(content) for name, content in hub.files.items() if name in FILES)
    assert str(told[0]).startswith(f"Model small: {megabytes(whole)}; ")
    assert "free in" in str(told[0])
    steps = [step for step in told[1:] if isinstance(step, tuple)]
    assert len(steps) == len(told) - 1
    assert [done for _, done, _ in steps] == sorted(done for _, done, _ in steps)
    assert steps[-1] == ("model.bin", whole, whole)


def test_a_model_that_is_here_is_not_fetched_again(hub: LocalHub) -> None:
    folder = fetched(hub)
    before = len(hub.asked)
    hub.answers_no_more = True
    assert fetched(hub) == folder
    assert len(hub.asked) == before


# --- breaks -------------------------------------------------------------------------------------------------


def test_a_fetch_that_broke_off_goes_on_where_it_was(hub: LocalHub, bare_machine: Path) -> None:
    hub.breaks_off_at = 300_000
    line = refusal(hub)
    assert "model.bin" in line
    assert "fetch again, it goes on from there" in line
    assert part_of(bare_machine).stat().st_size == 300_000
    hub.breaks_off_at, hub.answers_no_more = None, False
    hub.asked.clear()
    folder = fetched(hub)
    assert hub.asked == [("model.bin", 300_000)]  # nothing is fetched twice
    assert (folder / "model.bin").read_bytes() == hub.files["model.bin"]


def test_a_lost_connection_is_taken_up_again_by_itself(
    hub: LocalHub, bare_machine: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import huggingface_hub.file_download

    def back_again(_: float) -> None:
        hub.breaks_off_at, hub.answers_no_more = None, False

    hub.breaks_off_at = 50_000
    monkeypatch.setattr(huggingface_hub.file_download.time, "sleep", back_again)
    folder = fetched(hub)
    assert (folder / "model.bin").read_bytes() == hub.files["model.bin"]
    assert [first for name, first in hub.asked if name == "model.bin"] == [0, 50_000]


def test_a_hub_without_ranges_starts_anew(hub: LocalHub) -> None:
    hub.breaks_off_at = 300_000
    refusal(hub)
    hub.breaks_off_at, hub.answers_no_more, hub.knows_ranges = None, False, False
    assert (fetched(hub) / "model.bin").read_bytes() == hub.files["model.bin"]


def test_a_newer_version_in_between_starts_anew(hub: LocalHub, bare_machine: Path) -> None:
    hub.breaks_off_at = 300_000
    refusal(hub)
    old = part_of(bare_machine)
    hub.breaks_off_at, hub.answers_no_more = None, False
    content = bytearray(hub.files["model.bin"])
    content[-1] ^= 1
    hub.files["model.bin"] = bytes(content)
    folder = fetched(hub)
    assert not old.exists()
    assert (folder / "model.bin").read_bytes() == bytes(content)


def test_killed_in_the_middle_and_asked_again(hub: LocalHub, bare_machine: Path) -> None:
    # The process ends without a word while model.bin comes in.
    code = (
        "import os\n"
        "from voicenotes.speech.model_fetch import fetch_model\n"
        "def stop(file, done, whole):\n"
        "    if file == 'model.bin' and done > 0.2 * whole: os._exit(9)\n"
        f"fetch_model('small', stop, endpoint={hub.endpoint!r})\n"
    )
    ran = subprocess.run([sys.executable, "-c", code], cwd=Path(__file__).parent.parent, timeout=60)
    assert ran.returncode == 9
    assert find_model("small") is None
    assert (fetched(hub) / "model.bin").read_bytes() == hub.files["model.bin"]


# --- what the hub or the disk refuses -----------------------------------------------------------------------


def test_a_wrong_byte_is_found_and_thrown_away(hub: LocalHub, bare_machine: Path) -> None:
    hub.wrong_byte = True
    line = refusal(hub)
    assert line.startswith(f"model.bin of {REPOSITORY} is damaged after it was fetched")
    assert list((bare_machine / ".fetching-small").glob("model.bin*")) == []
    hub.wrong_byte = False
    assert (fetched(hub) / "model.bin").read_bytes() == hub.files["model.bin"]


@pytest.mark.parametrize("file", ["model.bin", "config.json"])
def test_each_kind_of_hash_is_compared(tmp_path: Path, file: str) -> None:
    content = b"some bytes"
    path = tmp_path / file
    path.write_bytes(content)
    git = subprocess.run(["git", "hash-object", str(path)], capture_output=True, text=True, check=True)
    of_git = HubFile(file, len(content), None, git.stdout.strip())
    of_lfs = HubFile(file, len(content), hashlib.sha256(content).hexdigest(), "irrelevant")
    for right in (of_git, of_lfs):
        assert file_hash_problem(path, right) is None
    path.write_bytes(b"same bytes")
    for wrong in (of_git, of_lfs):
        assert file_hash_problem(path, wrong) == "is damaged"
    path.write_bytes(b"some bytes more")
    assert "has 15 bytes where the hub has 10" in (file_hash_problem(path, of_git) or "")


def test_too_little_room_is_refused_before_anything_is_fetched(
    hub: LocalHub, bare_machine: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=40_000_000))
    line = refusal(hub)
    assert "Model small needs 52 MB and only 40 MB are free" in line
    assert hub.asked == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
def test_a_disk_that_fills_up_midway(hub: LocalHub, bare_machine: Path) -> None:
    hub.breaks_off_at = 300_000
    refusal(hub)
    hub.breaks_off_at, hub.answers_no_more = None, False
    part = part_of(bare_machine)
    part.unlink()
    part.symlink_to("/dev/full")
    assert "No space left on device" in refusal(hub)
    part.unlink()
    assert (fetched(hub) / "model.bin").read_bytes() == hub.files["model.bin"]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written(hub: LocalHub, bare_machine: Path) -> None:
    bare_machine.chmod(0o500)
    assert "Permission denied" in refusal(hub)


def test_a_file_in_place_of_the_models_folder(
    hub: LocalHub, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("VOICENOTES_MODELS", str(tmp_path / "file"))
    assert "can't be written" in refusal(hub)


def test_a_second_process_is_told_to_wait(hub: LocalHub, bare_machine: Path) -> None:
    from filelock import FileLock

    with FileLock(bare_machine / ".fetching-small.lock"):
        assert "is being fetched by another process" in refusal(hub)


def test_an_unusable_folder_of_that_name_is_left_alone(hub: LocalHub, bare_machine: Path) -> None:
    (bare_machine / "small").mkdir()
    (bare_machine / "small" / "notes.txt").write_text("mine")
    with pytest.raises(EngineError, match="remove it, then fetch again"):
        fetched(hub)
    assert (bare_machine / "small" / "notes.txt").read_text() == "mine"
    assert hub.asked == []


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("smal", "Unknown Whisper model 'smal': use one of tiny.en, tiny,"),
        ("", "Unknown Whisper model ''"),
        ("../small", "Unknown Whisper model '../small'"),
        ("someone/something", "The hub has no model someone/something"),
    ],
)
def test_a_name_that_the_hub_has_not(hub: LocalHub, name: str, says: str) -> None:
    assert says in refusal(hub, name)


@pytest.mark.parametrize(
    ("status", "says"), [(401, "no model"), (404, "no model"), (403, "answers for"), (500, "answers for")]
)
def test_what_the_hub_answers(hub: LocalHub, status: int, says: str, monkeypatch: pytest.MonkeyPatch) -> None:
    hub.status = status
    assert says in refusal(hub)


def test_nobody_there(hub: LocalHub) -> None:
    hub.endpoint = "http://127.0.0.1:9"
    assert "can't be reached" in refusal(hub)


def test_a_repository_that_holds_something_else(hub: LocalHub) -> None:
    del hub.files["model.bin"]
    assert "is no faster-whisper model: it lacks model.bin" in refusal(hub)


def test_another_kind_of_model(hub: LocalHub) -> None:
    hub.files["model.bin"] = b"pickled"
    assert "it is no model that can be used here" in refusal(hub)


def test_a_file_that_could_not_be_checked(hub: LocalHub) -> None:
    hub.hides = frozenset(["blobId", "lfs"])
    assert "tells no size or hash" in refusal(hub)


# --- by the engine and by hand ------------------------------------------------------------------------------


def test_process_fetches_before_the_engine_is_made(hub: LocalHub, monkeypatch: pytest.MonkeyPatch) -> None:
    import huggingface_hub.constants

    template = f"{hub.endpoint}/{{repo_id}}/resolve/{{revision}}/{{filename}}"
    monkeypatch.setattr(huggingface_hub.constants, "ENDPOINT", hub.endpoint)
    monkeypatch.setattr(huggingface_hub.constants, "HUGGINGFACE_CO_URL_TEMPLATE", template)
    lines: list[str] = []
    engine, line = choose_engine("whisper", SpeechMaterial(), allow_download=True, say=lines.append)
    assert (engine.name, engine.model) == ("whisper", "small")
    assert line == "Speech engine: whisper, model small."
    assert lines[0].startswith("Model small:")
    assert {file for file, _ in hub.asked} == FILES


@pytest.mark.parametrize(
    ("name", "short"),
    [
        ("small", "small"),
        (REPOSITORY, "small"),
        ("someone/my-whisper", "my-whisper"),
        ("large-v3-turbo", "large-v3-turbo"),
    ],
)
def test_the_name_of_the_folder(name: str, short: str) -> None:
    assert short_name(name) == short


@pytest.mark.parametrize(
    ("size", "text"), [(1_840_000, "1.8 MB"), (75_538_270, "76 MB"), (1_617_000_000, "1.6 GB")]
)
def test_sizes_as_people_read_them(size: int, text: str) -> None:
    assert megabytes(size) == text


def run(hub: LocalHub, models: Path, *words: str) -> subprocess.CompletedProcess[str]:
    environment = {
        **os.environ, "HF_ENDPOINT": hub.endpoint, "VOICENOTES_MODELS": str(models),
        "HF_HUB_CACHE": str(models.parent / "hub"), "XDG_DATA_HOME": str(models.parent / "data"),
    }  # fmt: skip
    command = [sys.executable, "-m", "voicenotes", *words]
    root = Path(__file__).parent.parent
    return subprocess.run(command, capture_output=True, text=True, env=environment, cwd=root, timeout=120)


def test_the_commands(hub: LocalHub, bare_machine: Path) -> None:
    listed = run(hub, bare_machine, "engines")
    assert f"auto takes: {auto_without_whisper()} (no Whisper model is on this machine)" in listed.stdout
    got = run(hub, bare_machine, "fetch", "small")
    assert (got.returncode, got.stdout) == (0, f"Model: {bare_machine / 'small'}\n")
    assert got.stderr.startswith("Model small: ")
    listed = run(hub, bare_machine, "engines")
    assert "auto takes: whisper, model small (the only model here)" in listed.stdout
    assert f"small  {megabytes(size_of(bare_machine / 'small'))}, complete" in listed.stdout
    told = json.loads(run(hub, bare_machine, "engines", "--json").stdout)
    assert (told["auto_engine"], told["auto_model"]) == ("whisper", "small")
    assert told["models"][0]["folder"] == str(bare_machine / "small")
    checked = run(hub, bare_machine, "verify", "small")
    assert (checked.returncode, checked.stdout.splitlines()[-1]) == (0, "The model can be used.")
    (bare_machine / "small" / "config.json").write_text("{}")
    checked = run(hub, bare_machine, "verify", "small")
    assert checked.returncode == 2
    assert checked.stderr.startswith("voicenotes: the model small can't be used: hash of config.json:")
    assert checked.stderr.count("\n") == 1
    (bare_machine / "small" / "tokenizer.json").unlink()
    assert "can't be used: it lacks tokenizer.json" in run(hub, bare_machine, "engines").stdout


def test_a_failed_fetch_is_one_line(hub: LocalHub, bare_machine: Path) -> None:
    hub.wrong_byte = True
    ran = run(hub, bare_machine, "fetch", "small", "--quiet")
    assert (ran.returncode, ran.stdout, ran.stderr.count("\n")) == (2, "", 1)
    assert ran.stderr.startswith("voicenotes: model.bin of")
