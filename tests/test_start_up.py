"""Importing voicenotes and asking for help load nothing heavy; benchmarks/start_up.py takes the times."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

HEAVY = {
    "av", "ctranslate2", "faster_whisper", "jinja2", "numpy", "pint", "pocketsphinx",
    "pydantic", "rapidfuzz", "rich.progress", "spacy", "starlette", "uvicorn", "yaml",
}  # fmt: skip


def loaded_after(code: str) -> set[str]:
    """The modules that a fresh Python has loaded after running `code`."""
    program = (
        f"import sys\n{code}\nimport json; print('|' + json.dumps(sorted(sys.modules)), file=sys.stderr)"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60)
    assert ran.returncode == 0, ran.stderr
    return set(json.loads(ran.stderr.rpartition("|")[2]))


@pytest.mark.parametrize(
    "code",
    [
        "import voicenotes",
        "import voicenotes.cli.main",
        "from voicenotes.errors import VoicenotesError",
        "from voicenotes.cli.main import app\ntry: app(['--help'])\nexcept SystemExit: pass",
    ],
)
def test_nothing_heavy_is_loaded(code: str) -> None:
    assert loaded_after(code) & HEAVY == set()


def test_help_on_a_command_loads_no_more_than_typer_itself() -> None:
    """Newer versions of typer load pydantic to look at a command's options; nothing else may come."""
    code = "from voicenotes.cli.main import app\ntry: app(['process', '--help'])\nexcept SystemExit: pass"
    assert loaded_after(code) & HEAVY <= {"pydantic"}


def test_the_check_would_see_a_heavy_one() -> None:
    assert "numpy" in loaded_after("import numpy") & HEAVY


def test_the_gap_list_needs_no_audio_and_no_language_library() -> None:
    code = "import voicenotes.visit, voicenotes.outputs.gap_sheet, voicenotes.vocabulary.load"
    assert loaded_after(code) & {"av", "numpy", "pocketsphinx", "faster_whisper", "spacy", "pint"} == set()


def test_the_python_face_is_lazy_and_whole() -> None:
    import voicenotes

    assert sorted(voicenotes.__all__) == list(voicenotes.__all__)
    for name in voicenotes.__all__:
        assert callable(getattr(voicenotes, name))
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        _ = voicenotes.nonsense
