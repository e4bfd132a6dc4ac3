"""What several test files share."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_pack import write_pack


@pytest.fixture
def pack(tmp_path: Path) -> Path:
    """A folder with a small pack of its own."""
    return write_pack(tmp_path / "pack")
