"""The house rules that a machine can check: layers, empty folder inits, no trade words in code."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections import Counter
from functools import lru_cache
from pathlib import Path

import pytest

import voicenotes
from voicenotes.language.everyday import ordinary_words
from voicenotes.vocabulary.expand import expand
from voicenotes.vocabulary.homes import shipped_packs
from voicenotes.vocabulary.load import load_pack

PACKAGE = Path(voicenotes.__file__).parent
FLOORS = [
    {"errors", "links", "model"},
    {"vocabulary"},
    {"audio", "speech", "language"},
    {"findings"},
    {"outputs", "files", "listing", "changes", "lock", "times"},
    {
        "hearing",
        "visit",
        "scoring",
        "backlog",
        "watching",
        "report",
        "corrections",
        "review",
        "listening",
        "learning",
    },
    {"cli", "__main__"},
]
MAY_USE_WITHIN_FLOOR = {
    ("speech", "audio"),
    ("times", "files"),
    ("visit", "hearing"),
    ("lock", "files"),
    ("listing", "files"),
    ("changes", "files"),
    ("changes", "listing"),
    ("scoring", "visit"),
    ("backlog", "visit"),
    ("watching", "visit"),
    ("report", "corrections"),
    ("review", "corrections"),
    ("review", "report"),
    ("review", "hearing"),
    ("review", "visit"),
    ("learning", "corrections"),
    ("learning", "hearing"),
    ("learning", "visit"),
    ("listening", "visit"),
    ("listening", "hearing"),
    ("__main__", "cli"),
    ("model", "errors"),
}
ALSO_COMPUTING = frozenset(
    [
        "float",
        "axis",
        "offset",
        "generator",
        "module",
        "padding",
        "centres",
        "faults",
        "probe",
        "fitted",
        "readings",
        "reading",
        "filter",
        "caution",
        "bracket",
        "logs",
        "offsets",
        "hissing",
        "linear",
        "filters",
        "parameters",
        "spec",
        "container",
        "loader",
        "encoder",
        "decoder",
        "index",
        "indexed",
        "input",
        "output",
        "buffer",
        "sorted",
        "fittings",
        "dimension",
        "outer",
        "repeats",
        "variable",
        "disk",
        "socket",
        "rust",
        "ranges",
    ]
)
PHRASES_OF_LIBRARIES = frozenset(["batch size", "file download"])
SOURCES = sorted(PACKAGE.rglob("*.py"))


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def floor_of(room: str) -> int:
    return next(index for index, rooms in enumerate(FLOORS) if room in rooms)


def imports_of(path: Path) -> set[str]:
    """The rooms of voicenotes that a module imports, lazily or not."""
    rooms = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("voicenotes"):
            names = [node.module] if "." in node.module else [f"voicenotes.{a.name}" for a in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names if alias.name.startswith("voicenotes.")]
        rooms |= {name.split(".")[1] for name in names}
    return rooms


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_only_point_down(path: Path) -> None:
    room = room_of(path)
    if room == "__init__":
        return
    for other in imports_of(path) - {room, "__version__"}:
        down = floor_of(other) < floor_of(room)
        assert down or (room, other) in MAY_USE_WITHIN_FLOOR, f"{path.name} imports {other}"


@pytest.mark.parametrize(
    "path",
    [p for p in SOURCES if p.name == "__init__.py" and p.parent != PACKAGE],
    ids=lambda p: p.parent.name,
)
def test_folder_inits_import_nothing(path: Path) -> None:
    assert path.read_text(encoding="utf-8").strip() == ""


def code_of(path: Path) -> str:
    """A module's names and strings in lower case as words, without comments and docstrings."""
    source = path.read_text(encoding="utf-8")
    docstrings = {
        (node.body[0].lineno, node.body[0].end_lineno or 0)
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
        and isinstance(node.body[0].value, ast.Constant)
    }
    pieces = []
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        inside = any(first <= token.start[0] <= last for first, last in docstrings)
        if token.type in (tokenize.NAME, tokenize.STRING) and not inside:
            pieces.append(" ".join(re.findall(r"[a-z]+", token.string.lower())))
    return " | ".join(pieces)


@lru_cache
def trade_language() -> tuple[frozenset[str], frozenset[str]]:
    """Terms of two or more words, and the single words that many terms are made of."""
    phrases: set[str] = set()
    counts: Counter[str] = Counter()
    for name in shipped_packs():
        pack = load_pack(name)
        for thing in (*pack.checks, *pack.parts, *pack.head.fittings):
            plain = {phrase for term in thing.terms for phrase in expand(term)}
            phrases |= {phrase for phrase in plain if phrase.count(" ") and len(phrase) > 8}
            counts.update(word for phrase in plain for word in phrase.split())
    common = {
        w for w, n in counts.items() if n >= 12 and len(w) > 3 and w not in ordinary_words()
    } - ALSO_COMPUTING
    return frozenset(phrases), frozenset(common)


def test_the_trade_language_is_what_it_should_be() -> None:
    phrases, words = trade_language()
    assert {"way covers", "lost motion in x"} <= phrases
    assert {"spindle", "turret", "coolant", "hydraulic", "tailstock", "conveyor"} <= words


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_trade_word_stands_in_code(path: Path) -> None:
    phrases, words = trade_language()
    code = code_of(path)
    assert set(code.split()) & words == set()
    assert [phrase for phrase in phrases - PHRASES_OF_LIBRARIES if f" {phrase} " in f" {code} "] == []
    ids = {check.id for name in shipped_packs() for check in load_pack(name).checks}
    assert [check_id for check_id in ids if f'"{check_id}"' in path.read_text(encoding="utf-8")] == []
