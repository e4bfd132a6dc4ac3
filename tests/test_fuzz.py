"""Whatever bytes a file holds, it is read, or refused by one of voicenotes' own errors in one line.

A longer run: `python -m pytest tests/test_fuzz.py --hypothesis-profile=long`. What atheris found stands in
`tests/data/fuzz`, by target, and is tried first.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent / "fuzz"))
from targets import TARGETS, mutated, run, seeds

FOUND = sorted((Path(__file__).parent / "data" / "fuzz").glob("*/*"))
CHANGES = st.lists(
    st.tuples(
        st.integers(0, 100_000),
        st.integers(0, 5),
        st.integers(0, 255) | st.sampled_from([0x7FFFFFFF, 0xFFFFFFFF, 0x80000000, 0x10000, 1, 0]),
    ),
    min_size=1,
    max_size=8,
)
AROUND = settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])


@pytest.mark.parametrize("target", TARGETS)
def test_valid_content_is_no_fault(target: str) -> None:
    for content in (*seeds(target), b"", b"\0", b"\xff" * 40):
        run(target, content)


@pytest.mark.parametrize("path", FOUND, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_what_was_found_before_stays_mended(path: Path) -> None:
    run(path.parent.name, path.read_bytes())


@pytest.mark.parametrize("target", TARGETS)
@given(data=st.data())
@AROUND
def test_changed_content_is_read_or_refused(target: str, data: st.DataObject) -> None:
    content = data.draw(st.sampled_from(seeds(target)))
    run(target, mutated(content, data.draw(CHANGES)))


@pytest.mark.parametrize("target", TARGETS)
@given(content=st.binary(max_size=400))
@AROUND
def test_any_content_is_read_or_refused(target: str, content: bytes) -> None:
    run(target, content)


@given(text=st.text(alphabet="(|)<>ab =é", max_size=120) | st.integers(1, 40).map(lambda n: "(a|b)" * n))
@AROUND
def test_any_template_is_counted_or_refused(text: str) -> None:
    run("phrase", text.encode())


YAML = st.recursive(
    st.sampled_from(
        ["a", "1", "~", "*a", "&a x", "!!int x", "!!timestamp x", "<<", ".inf", "1e999", '"\\u0000"', ""]
    ),
    lambda inner: (
        st.lists(inner, max_size=4).map(lambda parts: "[" + ", ".join(parts) + "]")
        | st.lists(st.tuples(inner, inner), max_size=3).map(
            lambda parts: "{" + ", ".join(f"? {key} : {value}" for key, value in parts) + "}"
        )
    ),
    max_leaves=15,
)


@given(text=YAML)
@AROUND
def test_any_yaml_is_read_or_refused(text: str) -> None:
    run("pack_file", text.encode())


def test_a_target_that_fails_is_seen() -> None:
    """The trap itself: an error of another kind, or one of two lines, comes through."""
    from targets import only_our_errors

    from voicenotes.errors import PackError, RecordingError

    for error in (ValueError("x"), RecordingError("a: x"), PackError("a\nb")):
        with pytest.raises((ValueError, RecordingError, AssertionError)), only_our_errors(PackError, ""):
            raise error
