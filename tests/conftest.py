"""What several test files share."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings
from small_pack import write_pack

# The suite tries the same examples each time; `--hypothesis-profile=long` tries many new ones.
settings.register_profile("suite", derandomize=True, deadline=None)
settings.register_profile("long", deadline=None, max_examples=20_000, print_blob=True)
settings.load_profile("suite")


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    """A folder with a small pack of its own."""
    return write_pack(tmp_path / "pack")
