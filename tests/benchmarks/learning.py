"""How long `suggestions` takes: many past visits and all labelled sentences, for each of some suggestions.

    python tests/benchmarks/learning.py [--visits 20] [--suggestions 10] [--everything]

The visits are made of the pack's dictation, with remarks on made-up things that corrections tag. With
`--everything` each effect is also found by reading all again, which must come to the same; the ratio of the
two times is printed. What is read, and how much of it each suggestion touches, is printed beside.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from taught import tagged, visit

from voicenotes.language.lexicon_reach import difference_of, touched
from voicenotes.learning.additions import with_suggestions
from voicenotes.learning.effect import effect_of, ground_of
from voicenotes.learning.past import past_visits
from voicenotes.learning.suggest import suggestions_of
from voicenotes.vocabulary.homes import vocab_home
from voicenotes.vocabulary.load import load_shipped_pack
from voicenotes.vocabulary.overlay import Overlay, with_overlay

PACK = "cnc_lathe"
LINES = 60
THINGS = (
    "drain cock", "sight bowl", "grommet plate", "trunnion", "shear pin", "footwell grating", "gaiter",
    "swarf kicker", "bellcrank", "banjo union", "dowel cap", "sludge trap", "knurled collar", "clevis",
    "oddment tray", "spigot ring",
)  # fmt: skip


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    options.add_argument("--visits", type=int, default=20)
    options.add_argument("--suggestions", type=int, default=10)
    options.add_argument("--everything", action="store_true")
    given = options.parse_args()
    draw = random.Random(1)
    lines = [
        line for path in sorted((vocab_home() / PACK / "dictation").glob("*.txt"))
        for line in path.read_text(encoding="utf-8").splitlines()
    ]  # fmt: skip
    shipped = load_shipped_pack(PACK)
    checks = [check.id for check in shipped.checks]
    with tempfile.TemporaryDirectory() as folder:
        folders = []
        for number in range(given.visits):
            thing = THINGS[number % min(given.suggestions, len(THINGS))]
            said = [*draw.sample(lines, min(LINES, len(lines))), f"the {thing} is cracked"]
            text = ". ".join(line.capitalize() for line in said) + "."
            correct = tagged(f"{thing} is cracked", checks[number % len(checks)])
            folders.append(visit(Path(folder) / f"unit-{number}", text, PACK, correct))
        start = time.perf_counter()
        past = past_visits(folders)
        found, _ = suggestions_of(past, shipped)
        told = time.perf_counter()
        ground = ground_of(shipped, Overlay(pack=shipped.id), past)
        ready = time.perf_counter()
        words = sum(len(norms) for norms in ground.index.norms)
        print(f"{len(past)} visits and {len(ground.cases)} sentences, {words} words")
        print(f"suggestions: {told - start:.2f} s; all read once: {ready - told:.2f} s")
        quick = whole = 0.0
        for suggestion in found[: given.suggestions]:
            pack = with_overlay(shipped, with_suggestions(ground.overlay, [suggestion]))
            begun = time.perf_counter()
            effect = effect_of(ground, [suggestion])
            took = time.perf_counter() - begun
            quick += took
            some = touched(ground.index, difference_of(ground.pack, pack, ground.index.by_word))
            again_read = f"{len(some):4} of {len(ground.index.norms)} read again"
            outcome = f"{len(effect.changes)} changes, {len(effect.regressions)} regressions"
            print(f"  {suggestion.phrase:<18} {took:6.2f} s  {again_read}, {outcome}")
            if given.everything:
                begun = time.perf_counter()
                again = effect_of(ground, [suggestion], everything=True)
                whole += time.perf_counter() - begun
                if again != effect:
                    raise SystemExit(f"{suggestion.phrase}: reading all comes to something else")
        print(f"{min(len(found), given.suggestions)} effects: {quick:.2f} s")
        if given.everything:
            print(f"reading all again: {whole:.2f} s, {whole / quick:.1f} times as long; the same effects")


if __name__ == "__main__":
    main()
