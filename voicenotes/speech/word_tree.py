"""The words of a language model: how likely each is after others, and which begin with some letters."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING

from voicenotes.errors import EngineError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

START, END, UNKNOWN = "<s>", "</s>", "<UNK>"
LOG_STEP = math.log(1.0001)  # pocketsphinx keeps logarithms to base 1.0001
SPELLED = re.compile(r"[a-z']+")
OWNER = "'s"
MOST_KEPT = 300_000


def word_likelihoods(binary: Path) -> Callable[[str, tuple[str, ...]], float]:
    """A function that gives the natural log of a word's likelihood after others, the last one last.

    `binary` is a language model in pocketsphinx's format. Raises EngineError when it can't be read.
    """
    from pocketsphinx import NGramModel

    try:
        model = NGramModel.readfile(str(binary))
    except (RuntimeError, ValueError, OSError) as error:
        raise EngineError(f"pocketsphinx can't load {binary}: delete it and try again") from error

    @lru_cache(maxsize=MOST_KEPT)
    def likelihood(word: str, before: tuple[str, ...]) -> float:
        return float(model.prob([word, *reversed(before)])) * LOG_STEP

    return likelihood


@dataclass
class WordTree:
    """A vocabulary as a tree of letters. Node 0 is the root; the lists are by node.

    `word` is how the language model knows the word that ends at a node, None where none does: a word with an
    's that isn't in the vocabulary counts as the word without it. `best` is the highest log likelihood of
    the words below, whatever stands before them.
    """

    children: list[dict[str, int]] = field(default_factory=lambda: [{}])
    word: list[str | None] = field(default_factory=lambda: [None])
    best: list[float] = field(default_factory=lambda: [-math.inf])

    def after(self, node: int, letters: str) -> int | None:
        """The node that `letters` lead to; None where no word goes on like this."""
        for letter in letters:
            following = self.children[node].get(letter)
            if following is None:
                return None
            node = following
        return node


def word_tree(words: Iterable[str], likelihood: Callable[[str, tuple[str, ...]], float]) -> WordTree:
    """The tree of all words that consist of lower-case letters and apostrophes."""
    tree = WordTree()
    known = {word for word in words if SPELLED.fullmatch(word)}
    for word in sorted(known):
        value = likelihood(word, ())
        _add(tree, word, word, value)
        if len(word) > 2 and OWNER not in word and word + OWNER not in known:
            _add(tree, word + OWNER, word, value)
    return tree


def _add(tree: WordTree, spelling: str, word: str, value: float) -> None:
    node = 0
    tree.best[0] = max(tree.best[0], value)
    for letter in spelling:
        following = tree.children[node].setdefault(letter, len(tree.word))
        if following == len(tree.word):
            tree.children.append({})
            tree.word.append(None)
            tree.best.append(-math.inf)
        node = following
        tree.best[node] = max(tree.best[node], value)
    tree.word[node] = word
