"""Fuzzes one target with atheris: `python tests/fuzz/fuzz.py TARGET SECONDS [folder for the corpus]`.

atheris guides the bytes by which lines of voicenotes they reach. A fault is written to the folder as
`crash-...` and ends the run with an exit code other than 0; put it, mended, into `tests/data/fuzz/TARGET`.
Without atheris (it has wheels for few systems: `pip install -e '.[fuzz]'`) it says so and ends with code 78.
"""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import mkdtemp

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parent.parent)]
NOT_INSTALLED = 78  # libFuzzer itself ends with 77 after a fault
MOST_BYTES = 20_000
MEMORY_MB = 2_000


def main() -> None:
    try:
        import atheris
    except ImportError:
        print("fuzzing skipped: atheris is not installed, or has no wheel for this Python and system")
        sys.exit(NOT_INSTALLED)
    with atheris.instrument_imports(include=["voicenotes"], enable_loader_override=False):
        import targets
    target, seconds = sys.argv[1], int(sys.argv[2])
    if target not in targets.TARGETS:
        sys.exit(f"no target '{target}': one of {', '.join(targets.TARGETS)}")
    corpus = Path(sys.argv[3] if len(sys.argv) > 3 else mkdtemp(prefix="fuzz-"))
    corpus.mkdir(parents=True, exist_ok=True)
    for number, seed in enumerate(targets.seeds(target)):
        (corpus / f"seed-{number}").write_bytes(seed)
    options = [
        sys.argv[0], str(corpus), f"-max_total_time={seconds}", f"-artifact_prefix={corpus}/", "-timeout=20",
        f"-max_len={MOST_BYTES}", f"-rss_limit_mb={MEMORY_MB}", "-print_final_stats=1", "-verbosity=0",
    ]  # fmt: skip
    atheris.Setup(options, lambda content: targets.run(target, content))
    atheris.Fuzz()


if __name__ == "__main__":
    main()
