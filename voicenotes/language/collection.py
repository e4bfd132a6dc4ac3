"""Reading makes many small values that all stay: looking for garbage meanwhile only costs time."""

from __future__ import annotations

import gc
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def no_collecting() -> Iterator[None]:
    """Pause the cycle collector inside the block, and leave it as it was found."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()
