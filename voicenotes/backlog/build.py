"""Which voicenotes this is: its version, and a fingerprint of its code and of its English.

Two machines that read the same recordings must read them with the same of both.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

import voicenotes
from voicenotes.vocabulary.homes import SHARED_LANGUAGE, vocab_home


@lru_cache(maxsize=1)
def build() -> str:
    """The version, and digits that change with any module or with `vocab/english`: "0.1.0 (1f3a90bc)"."""
    package = Path(voicenotes.__file__).parent
    english = vocab_home() / SHARED_LANGUAGE
    digest = hashlib.sha256()
    for home, files in ((package, package.rglob("*.py")), (english, english.rglob("*.*"))):
        for path in sorted(files):
            digest.update(path.relative_to(home).as_posix().encode())
            digest.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return f"{voicenotes.__version__} ({digest.hexdigest()[:8]})"
