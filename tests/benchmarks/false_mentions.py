"""What the reader finds in English that speaks of no lathe.

    python tests/benchmarks/false_mentions.py [--show N] [--words N] [--seed N] [--sources NAME ...]

Each paragraph is read by itself. A mention is a piece of evidence for a check; a settlement is a check that
comes out ok, defect or not fitted, not only told, as if somebody had checked it: the costly kind. Fittings
and facts count their evidence. The last three columns say how many of all the evidence is owed to a term
guessed by sound, guessed by spelling, or listed as misheard (by the reasons given), and `sound settled` how
many settlements need a guess by sound. Every one is counted as false; in the everyday talk a few lines could
be said of a machine too ("there's a puddle on the floor"), so its rates are upper bounds.

The sources, and what they stand for:
  everyday, stops      vocab/english/everyday.txt, the project's own everyday talk at a workplace, six lines
                       to a paragraph, each closed with a full stop
  everyday, raw        the same without full stops, as a recogniser writes it
  Zen of Python        the text of Python's own module `this` (PEP 20)
  pydoc topics         the prose paragraphs of Python's pydoc_data/topics.py: the language reference
  licences             licence files of the packages installed beside this Python, each paragraph once

  talk, mail, ...      ordinary English of seven kinds from the registries, see ordinary_english.py: of each a
                       fixed random sample of its paragraphs (--words, --seed)
  talk, raw and so on  the same samples in lower case without punctuation

The licences depend on what is installed: compare their numbers within one environment only.
"""

from __future__ import annotations

import argparse
import codecs
import contextlib
import io
import random
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from importlib.metadata import distributions
from pydoc_data.topics import topics

from ordinary_english import as_recognised, kinds

import voicenotes
from voicenotes.model import Evidence, Record
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
    sound: int = 0
    spelling: int = 0
    misheard: int = 0
    settled_by_sound: int = 0
    checks: Counter[str] = field(default_factory=Counter)
    shown: list[str] = field(default_factory=list)

    def add(self, text: str, record: Record) -> None:
        """Count what a paragraph gave."""
        self.words += len(text.split())
        gaps = {gap.id for gap in record.gaps}
        for finding in record.checks:
            self.mentions += len(finding.evidence)
            self._owed(finding.evidence)
            if finding.outcome in SETTLED and finding.evidence and finding.id not in gaps:
                self.settlements += 1
                self.settled_by_sound += all("(sound" in evidence.why for evidence in finding.evidence)
                self.checks[finding.id] += 1
                quotes = " / ".join(evidence.quote for evidence in finding.evidence)
                self.shown.append(f"{finding.id} {finding.outcome}: {' '.join(quotes.split())[:150]}")
        for fitted in record.fittings.values():
            self.fittings += len(fitted.evidence)
            self._owed(fitted.evidence)
        self.facts += sum(len(found.evidence) for found in record.facts.values())

    def _owed(self, evidence: list[Evidence]) -> None:
        for piece in evidence:
            self.sound += "(sound" in piece.why
            self.spelling += "(spelling" in piece.why
            self.misheard += "(misheard" in piece.why

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


def tally(paragraphs: Iterable[str], pack: Pack, words: int) -> Tally:
    """Read the paragraphs up to the most words a source may have."""
    result = Tally()
    for paragraph in paragraphs:
        if result.words >= words:
            break
        result.add(paragraph, voicenotes.read_text(paragraph, pack))
    return result


def sample(paragraphs: Iterator[str], words: int, seed: int) -> list[str]:
    """A random choice of paragraphs with about so many words in all, the same for the same seed."""
    shuffled = list(paragraphs)
    random.Random(seed).shuffle(shuffled)
    chosen, total = [], 0
    for paragraph in shuffled:
        if total >= words:
            break
        chosen.append(paragraph)
        total += len(paragraph.split())
    return chosen


def sources_of(words: int, seed: int) -> Iterator[tuple[str, Iterable[str]]]:
    """Each source's name and paragraphs."""
    yield "everyday, stops", everyday(".")
    yield "everyday, raw", everyday("")
    yield "Zen of Python", zen()
    yield "pydoc topics", (line for topic in sorted(topics) for line in prose(topics[topic]))
    yield "licences", licences()
    for name, paragraphs in kinds():
        chosen = sample(paragraphs, words, seed)
        yield name, chosen
        yield f"{name}, raw", map(as_recognised, chosen)


COLUMNS = (
    "mentions",
    "settlements",
    "fittings",
    "facts",
    "sound",
    "spelling",
    "misheard",
    "settled_by_sound",
)


def row(name: str, found: Tally) -> str:
    """One line of the table."""
    rates = (found.rate(getattr(found, column)) for column in COLUMNS)
    cells = (f"{rate:>{max(9, len(column) + 1)}}" for column, rate in zip(COLUMNS, rates, strict=True))
    return f"{name:<17}{found.words:>8}{''.join(cells)}"


def main() -> None:
    """Read every source and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--show", type=int, default=5, help="false settlements to print of each source")
    parser.add_argument("--words", type=int, default=MOST_WORDS_OF_A_SOURCE, help="most words of a source")
    parser.add_argument("--seed", type=int, default=1, help="another number chooses other samples")
    parser.add_argument("--sources", nargs="*", help="only those whose names begin so")
    options = parser.parse_args()
    pack = voicenotes.load_pack("cnc_lathe")
    print("per 10,000 words:")
    heads = (f"{column.replace('_', ' '):>{max(9, len(column) + 1)}}" for column in COLUMNS)
    print(f"{'source':<17}{'words':>8}{''.join(heads)}")
    tallies: dict[str, Tally] = {}
    for name, paragraphs in sources_of(options.words, options.seed):
        if options.sources and not name.startswith(tuple(options.sources)):
            continue
        tallies[name] = tally(paragraphs, pack, options.words)
        print(row(name, tallies[name]), flush=True)
    total = Tally()
    for column in ("words", *COLUMNS):
        setattr(total, column, sum(getattr(found, column) for found in tallies.values()))
    print(row("all", total))
    for name, found in tallies.items():
        if found.checks and options.show:
            print(f"\n{name}: {found.settlements} settlements")
            for line in found.shown[: options.show]:
                print(f"  {line}")


if __name__ == "__main__":
    main()
