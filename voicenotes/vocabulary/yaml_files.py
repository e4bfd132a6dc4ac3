"""Reads YAML 1.2 (`no`, `off` and 12:30 stay text) and remembers the line of every value."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, TypeVar

import yaml
from pydantic import BaseModel, TypeAdapter, ValidationError

from voicenotes.errors import PackError

# The largest file of the shipped packs has 38 kB and some 4,000 values, ten deep.
LARGEST_FILE_BYTES = 10_000_000
MOST_VALUES = 500_000
DEEPEST = 100
_BASE: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
Path_ = tuple[str | int, ...]
T = TypeVar("T")


class CoreSchemaLoader(_BASE):  # type: ignore[misc]
    """PyYAML's safe loader with the YAML 1.2 core schema's plain scalars."""

    yaml_implicit_resolvers: ClassVar[dict[str, list[tuple[str, re.Pattern[str]]]]] = {}


for _tag, _pattern, _first in (
    ("tag:yaml.org,2002:bool", r"^(?:true|True|TRUE|false|False|FALSE)$", "tTfF"),
    ("tag:yaml.org,2002:null", r"^(?:~|null|Null|NULL|)$", ["~", "n", "N", ""]),
    ("tag:yaml.org,2002:int", r"^[-+]?[0-9]+$", "-+0123456789"),
    (
        "tag:yaml.org,2002:float",
        r"^[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?$",
        "-+.0123456789",
    ),
):
    CoreSchemaLoader.add_implicit_resolver(_tag, re.compile(_pattern), list(_first))


@dataclass(frozen=True)
class YamlFile:
    """A file's value and, for every path into it, the line (from 1) where that value stands."""

    path: Path
    value: Any
    lines: dict[Path_, int]

    def line_of(self, where: Path_) -> int:
        """The line of a value, or of its nearest ancestor that has one."""
        while where and where not in self.lines:
            where = where[:-1]
        return self.lines.get(where, 1)


def _note_lines(node: Any, where: Path_, lines: dict[Path_, int]) -> None:
    """Note the line of every value; an alias counts each time: what it stands for is validated each time."""
    lines[where] = node.start_mark.line + 1
    if len(lines) > MOST_VALUES:
        raise yaml.MarkedYAMLError(
            problem=f"stands for more than {MOST_VALUES:,} values; is it the right file?",
            problem_mark=node.start_mark,
        )
    if len(where) > DEEPEST:
        raise yaml.MarkedYAMLError(problem="is nested too deeply", problem_mark=node.start_mark)
    if isinstance(node, yaml.MappingNode):
        seen: set[str] = set()
        for key, child in node.value:
            if not isinstance(key, yaml.ScalarNode):
                raise yaml.MarkedYAMLError(problem="a key is no plain word", problem_mark=key.start_mark)
            if key.value in seen:
                raise yaml.MarkedYAMLError(
                    problem=f"'{_one_line(key.value)}' stands here twice", problem_mark=key.start_mark
                )
            seen.add(key.value)
            _note_lines(child, (*where, key.value), lines)
    elif isinstance(node, yaml.SequenceNode):
        for index, child in enumerate(node.value):
            _note_lines(child, (*where, index), lines)


def read_yaml(path: Path) -> YamlFile:
    """Read one YAML file. Raises PackError naming file and line when it isn't YAML."""
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise PackError(f"{path}: is too large for a file of a pack or of labels; is it the right file?")
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise PackError(f"{path}: this file is missing from the pack") from None
    except (OSError, UnicodeDecodeError) as error:
        raise PackError(f"{path}: can't be read: {error}") from None
    loader: Any = None
    try:
        loader = CoreSchemaLoader(text)
        node = loader.get_single_node()
        lines: dict[Path_, int] = {}
        if node is None:
            return YamlFile(path, None, {})
        _note_lines(node, (), lines)
        return YamlFile(path, loader.construct_document(node), lines)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = mark.line + 1 if mark else 1
        raise PackError(f"{path}, line {line}: {_one_line(str(error.problem or error.context))}") from None
    except (yaml.YAMLError, ValueError) as error:
        raise PackError(f"{path}: not YAML: {str(error).splitlines()[0]}") from None
    except (TypeError, AttributeError, LookupError, ArithmeticError, RecursionError):
        # what the library's own constructors raise for values that don't fit an explicit tag
        raise PackError(f"{path}: has a value that can't be read as what its tag says") from None
    finally:
        if loader is not None:
            loader.dispose()


def read_as(path: Path, kind: type[T]) -> T:
    """Read a YAML file and validate it as `kind` (a pydantic model or a type such as list[Model]).

    Raises PackError naming the file, the line and the field of the first thing that is wrong.
    """
    return validate_as(read_yaml(path), kind)


def validate_as(source: YamlFile, kind: type[T]) -> T:
    """Validate an already read YAML file as `kind`; errors as for `read_as`."""
    try:
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind.model_validate(source.value)
        return TypeAdapter(kind).validate_python(source.value)
    except ValidationError as error:
        first = error.errors()[0]
        where: Path_ = tuple(first["loc"])
        named = ".".join(str(part) for part in where if isinstance(part, str)) or "the file"
        message = (
            f"{source.path}, line {source.line_of(where)}: {_one_line(named)}: {_one_line(first['msg'])}"
        )
        raise PackError(message) from None


def _one_line(text: str, most: int = 300) -> str:
    """Text from a file inside a message: without line breaks, and cut where it is very long."""
    line = " ".join(text.split())
    return line if len(line) <= most else f"{line[:most]}..."
