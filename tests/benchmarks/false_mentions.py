"""What the reader finds in English that speaks of no lathe.

    python tests/benchmarks/false_mentions.py [--show N]

Each paragraph is read by itself. A mention is a piece of evidence for a check; a settlement is a check that
comes out ok, defect or not fitted, not only told, as if somebody had checked it: the costly kind. Every one
is counted as false; in the everyday talk a few lines could be said of a machine too ("there's a puddle on
the floor"), so its rates are upper bounds.

The sources, and what they stand for:
  everyday, stops      vocab/english/everyday.txt, the project's own everyday talk at a workplace, six lines
                       to a paragraph, each closed with a full stop
  everyday, raw        the same without full stops, as a recogniser writes it
  Zen of Python        the text of Python's own module `this` (PEP 20)
  pydoc topics         the prose paragraphs of Python's pydoc_data/topics.py: the language reference
  licences             licence files of the packages installed beside this Python, each paragraph once

The last depends on what is installed: compare its numbers within one environment only.
"""

from __future__ import annotations

import argparse
import codecs
import contextlib
import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from importlib.metadata import distributions
from pydoc_data.topics import topics

import voicenotes
from voicenotes.model import Record
from voicenotes.vocabulary.homes import vocab_home
from voicenotes.vocabulary.schema import Pack

LINES_A_PARAGRAPH = 6
FEWEST_WORDS = 8
MOST_WORDS_OF_A_SOURCE = 40_000
SETTLED = ("ok", "defect", "not_fitted")


@dataclass
class Tally:
    """What was found in one source."""

    words: int = 0
    mentions: int = 0
    settlements: int = 0
    fittings: int = 0
    facts: int = 0
    checks: Counter[str] = field(default_factory=Counter)
    shown: list[str] = field(default_factory=list)

    def add(self, text: str, record: Record) -> None:
        """Count what a paragraph gave."""
        self.words += len(text.split())
        gaps = {gap.id for gap in record.gaps}
        for finding in record.checks:
            self.mentions += len(finding.evidence)
            if finding.outcome in SETTLED and finding.evidence and finding.id not in gaps:
                self.settlements += 1
                self.checks[finding.id] += 1
                quotes = " / ".join(evidence.quote for evidence in finding.evidence)
                self.shown.append(f"{finding.id} {finding.outcome}: {' '.join(quotes.split())[:150]}")
        self.fittings += sum(len(found.evidence) for found in record.fittings.values())
        self.facts += sum(len(found.evidence) for found in record.facts.values())

    def rate(self, count: int) -> str:
        """A count per 10,000 words."""
        return f"{10_000 * count / max(1, self.words):.1f}"


def everyday(stop: str) -> Iterator[str]:
    """The project's everyday talk, in paragraphs."""
    text = (vocab_home() / "english" / "everyday.txt").read_text(encoding="utf-8")
    lines = [line.strip() for line in text.splitlines() if line.strip() and not line.startswith("#")]
    for first in range(0, len(lines), LINES_A_PARAGRAPH):
        yield " ".join(line + stop for line in lines[first : first + LINES_A_PARAGRAPH])


def zen() -> Iterator[str]:
    """PEP 20 as Python carries it."""
    with contextlib.redirect_stdout(io.StringIO()):
        import this
    yield from prose(codecs.decode(this.s, "rot13"))


def licences() -> Iterator[str]:
    """Paragraphs of the installed packages' licence files, once for all that begin with the same words."""
    seen: set[str] = set()
    for package in sorted(distributions(), key=lambda package: package.name or ""):
        for path in package.files or []:
            if re.search(r"(?i)licen[cs]e|copying", path.name) and not path.name.endswith((".py", ".pyc")):
                with contextlib.suppress(OSError, UnicodeDecodeError):
                    for paragraph in prose(path.read_text(encoding="utf-8")):
                        opening = " ".join(paragraph.lower().split()[:FEWEST_WORDS])
                        if opening not in seen:
                            seen.add(opening)
                            yield paragraph


def prose(text: str) -> Iterator[str]:
    """Paragraphs of sentences; headings, grammar and code examples are left out."""
    for paragraph in re.split(r"\n\s*\n", text):
        line = " ".join(paragraph.split())
        letters = sum(letter.isalpha() or letter == " " for letter in line)
        if len(line.split()) >= FEWEST_WORDS and letters > 0.9 * len(line) and line.endswith((".", "!", ":")):
            yield line


def tally(paragraphs: Iterator[str], pack: Pack) -> Tally:
    """Read the paragraphs up to the most words a source may have."""
    result = Tally()
    for paragraph in paragraphs:
        if result.words >= MOST_WORDS_OF_A_SOURCE:
            break
        result.add(paragraph, voicenotes.read_text(paragraph, pack))
    return result


def main() -> None:
    """Read every source and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--show", type=int, default=5, help="false settlements to print of each source")
    options = parser.parse_args()
    pack = voicenotes.load_pack("cnc_lathe")
    sources = {
        "everyday, stops": everyday("."),
        "everyday, raw": everyday(""),
        "Zen of Python": zen(),
        "pydoc topics": (line for topic in sorted(topics) for line in prose(topics[topic])),
        "licences": licences(),
    }
    print("per 10,000 words:")
    print(f"{'source':<18}{'words':>8}{'mentions':>10}{'settlements':>13}{'fittings':>10}{'facts':>8}")
    tallies = {}
    for name, paragraphs in sources.items():
        found = tallies[name] = tally(paragraphs, pack)
        counts = (found.mentions, found.settlements, found.fittings, found.facts)
        mentions, settlements, fittings, facts = (found.rate(count) for count in counts)
        print(f"{name:<18}{found.words:>8}{mentions:>10}{settlements:>13}{fittings:>10}{facts:>8}")
    for name, found in tallies.items():
        if found.checks and options.show:
            print(f"\n{name}: {found.settlements} settlements")
            for line in found.shown[: options.show]:
                print(f"  {line}")


if __name__ == "__main__":
    main()
