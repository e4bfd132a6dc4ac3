"""Looks for the likeliest words of a sound: what the network heard, weighed with the pack's language model.

A beam search over the network's tokens. Each unfinished text stands somewhere in the tree of the vocabulary's
letters, so that a trade word is favoured from its first letters on (by the likeliest word that begins with
them) and gets its real likelihood, after the words before it, once it is whole. Other words are spelled as
the network hears them, for a price. Digits are not written: numbers come as they were said. Shallow fusion:
Gulcehre and others 2015, arXiv 1503.03535.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from voicenotes.speech.engine import SAMPLE_RATE_HZ
from voicenotes.speech.moonshine_model import END as END_TOKEN
from voicenotes.speech.moonshine_model import Network, Step, first_step, next_step
from voicenotes.speech.word_tree import END, START, UNKNOWN, WordTree

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

TEXTS = 8  # unfinished ones that are kept
TOKENS_TRIED = 24  # for each
LANGUAGE_WEIGHT = 0.4
WORD_BONUS = 1.8  # makes up for what a usual word costs
UNKNOWN_LOG = -20.0  # the language model's view of a word outside the vocabulary
LEAST_LOG = -12.0  # of one token
END_BEHIND = 3.0  # the text ends only where that is about as likely as the likeliest token
FINISHED_AHEAD = 3.0
TOKENS_A_SECOND, MORE_TOKENS = 8.0, 6
LETTERS, STOPS = re.compile(r" ?[a-zA-Z']+"), frozenset(",.?!")


@dataclass(frozen=True)
class SaidWord:
    """One word as the network wrote it, `text` with what stands behind it; logs are natural.

    `network` is the sum over its tokens, `weakest` the least of them; `language` is the language model's
    log, without weight. `known` says whether it is of the vocabulary.
    """

    text: str
    network: float
    weakest: float
    language: float
    known: bool


@dataclass(frozen=True)
class Tokens:
    """Which tokens may be written, and what each is: lower-case letters, spelling, what it begins."""

    allowed: NDArray[np.bool_]
    letters: tuple[str, ...]  # "" for punctuation
    written: tuple[str, ...]
    begins: tuple[bool, ...]  # a word, or nothing: what was being written before is whole
    stops: tuple[bool, ...]


@dataclass(frozen=True)
class _Text:
    """An unfinished text. The word that is being written is in the last four."""

    score: float  # of network and language model, whole words only for the latter
    ahead: float  # the same with the word that is being written
    words: tuple[SaidWord, ...]
    said: tuple[str, ...]
    before: tuple[str, ...]  # the last two words as the language model knows them
    node: int  # in the tree; 0 between words, -1 outside the vocabulary
    spelling: str
    network: float
    weakest: float


def tokens_of(network: Network) -> Tokens:
    """The network's tokens: those of letters and of . , ? ! may be written."""
    stops = tuple(piece.strip() in STOPS for piece in network.pieces)
    words = tuple(bool(LETTERS.fullmatch(piece)) for piece in network.pieces)
    return Tokens(
        allowed=np.array([a or b for a, b in zip(stops, words, strict=True)]),
        letters=tuple(
            piece.strip().lower() if word else "" for piece, word in zip(network.pieces, words, strict=True)
        ),
        written=tuple(piece.strip() for piece in network.pieces),
        begins=tuple(
            stop or piece.startswith(" ") for piece, stop in zip(network.pieces, stops, strict=True)
        ),
        stops=stops,
    )


class Search:
    """The search, with what it needs of the network and of the language model."""

    def __init__(
        self,
        network: Network,
        tree: WordTree,
        likelihood: Callable[[str, tuple[str, ...]], float],
    ) -> None:
        self._network, self._tree, self._likelihood = network, tree, likelihood
        self._tokens = tokens_of(network)

    def words(self, samples: NDArray[np.float32]) -> tuple[SaidWord, ...]:
        """The likeliest words of mono samples (float32, 16 kHz, half a second to 30 s); maybe none."""
        step = first_step(self._network, samples)
        texts = [_Text(0.0, 0.0, (), (), (START,), 0, "", 0.0, 0.0)]
        finished: list[_Text] = []
        longest = round(samples.size / SAMPLE_RATE_HZ * TOKENS_A_SECOND) + MORE_TOKENS
        for _ in range(longest):
            new, parents, tokens, ended = self._longer(texts, step)
            finished += ended
            if not new:
                break
            texts = new
            if finished and max(text.ahead for text in finished) > texts[0].ahead + FINISHED_AHEAD:
                break
            step = next_step(self._network, step, parents, tokens)
        if not finished:
            finished = [whole for text in texts if (whole := self._whole(text)) is not None]
        return max(finished, key=lambda text: text.ahead).words if finished else ()

    def _longer(
        self, texts: list[_Text], step: Step
    ) -> tuple[list[_Text], list[int], list[int], list[_Text]]:
        """The best texts with one token more, each with its row and its token; and those that end here."""
        logs = _log_shares(step.logits)
        likeliest = logs.max(axis=1)
        allowed = np.where(self._tokens.allowed, logs, -np.inf)
        best: dict[tuple[object, ...], tuple[_Text, int, int]] = {}
        ended: list[_Text] = []
        for row, text in enumerate(texts):
            end = float(logs[row, END_TOKEN])
            may_end = bool(text.words or text.node) and end > likeliest[row] - END_BEHIND
            if may_end and (whole := self._whole(text)) is not None:
                ended.append(_raised(whole, end + LANGUAGE_WEIGHT * self._likelihood(END, whole.before)))
            for token in np.argpartition(-allowed[row], TOKENS_TRIED)[:TOKENS_TRIED].tolist():
                log = float(allowed[row, token])
                if log < LEAST_LOG or (longer := self._with_token(text, token, log)) is None:
                    continue
                key = (longer.said, longer.node, longer.spelling)
                if key not in best or best[key][0].ahead < longer.ahead:
                    best[key] = (longer, row, token)
        chosen = sorted(best.values(), key=lambda one: -one[0].ahead)[:TEXTS]
        return [c[0] for c in chosen], [c[1] for c in chosen], [c[2] for c in chosen], ended

    def _with_token(self, text: _Text, token: int, log: float) -> _Text | None:
        """The text with one token more; None where the vocabulary has no such word and none may be begun."""
        if self._tokens.begins[token]:
            whole = self._whole(text)
            if whole is None:
                return None
            if self._tokens.stops[token]:
                return _stopped(_raised(whole, log), self._tokens.written[token])
            text = whole
        return self._spelled(text, token, log)

    def _whole(self, text: _Text) -> _Text | None:
        """The text with its last word finished; None where the letters so far are no word."""
        if not text.spelling:
            return text
        if text.node > 0:
            word = self._tree.word[text.node]
            if word is None:
                return None
            language, known = self._likelihood(word, text.before), True
            gained = LANGUAGE_WEIGHT * language + WORD_BONUS
        else:
            word, language, known, gained = UNKNOWN, UNKNOWN_LOG, False, 0.0  # paid when it was begun
        said = SaidWord(text.spelling, text.network, text.weakest, language, known)
        score = text.score + gained
        return _Text(
            score, score, (*text.words, said), (*text.said, text.spelling.lower()),
            (*text.before, word)[-2:], 0, "", 0.0, 0.0,
        )  # fmt: skip

    def _spelled(self, text: _Text, token: int, log: float) -> _Text | None:
        letters = self._tokens.letters[token]
        score, node = text.score + log, -1
        if text.node >= 0:
            found = self._tree.after(text.node, letters)
            if found is None:
                score += LANGUAGE_WEIGHT * UNKNOWN_LOG + WORD_BONUS
            else:
                node = found
        ahead = score + (LANGUAGE_WEIGHT * self._tree.best[node] + WORD_BONUS if node > 0 else 0.0)
        return _Text(
            score, ahead, text.words, text.said, text.before, node,
            text.spelling + self._tokens.written[token], text.network + log, min(text.weakest, log),
        )  # fmt: skip


def _raised(text: _Text, by: float) -> _Text:
    return _Text(
        text.score + by, text.score + by, text.words, text.said, text.before, text.node, text.spelling,
        text.network, text.weakest,
    )  # fmt: skip


def _stopped(text: _Text, stop: str) -> _Text | None:
    """The text with a stop behind its last word; None where it would begin with one, or has one."""
    if not text.words or text.words[-1].text[-1] in STOPS:
        return None
    last = text.words[-1]
    word = SaidWord(last.text + stop, last.network, last.weakest, last.language, last.known)
    return _Text(
        text.score, text.score, (*text.words[:-1], word), text.said, text.before, 0, "", 0.0, 0.0
    )  # fmt: skip


def _log_shares(logits: NDArray[np.float32]) -> NDArray[np.float32]:
    above = logits - logits.max(axis=1, keepdims=True)
    shares: NDArray[np.float32] = above - np.log(np.exp(above).sum(axis=1, keepdims=True))
    return shares
