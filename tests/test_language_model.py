"""The mixed trigram model: it is a probability distribution, its file says so, pocketsphinx agrees."""

from __future__ import annotations

import math
import random
from pathlib import Path

import numpy as np
import pytest

from voicenotes.errors import EngineError
from voicenotes.speech.engine import SpeechMaterial
from voicenotes.speech.language_model import (
    EverydayEnglish,
    build_language_model,
    everyday_english,
    mixed_model,
    model_parts,
    write_language_model,
)
from voicenotes.speech.lm_bundled import LOG_STEP, bundled_model_path, read_bundled_model, read_bundled_words
from voicenotes.speech.lm_ngrams import NgramModel, estimate, prune, trigram_logs
from voicenotes.speech.lm_weights import mixture_weights, perplexity, word_logs

MATERIAL = SpeechMaterial(
    terms=("winch", "deck hatch", "anchor chain"),
    sentences=(
        "the winch is seized",
        "the winch runs smooth",
        "the deck hatch leaks",
        "the deck hatch is fine",
        "anchor chain is worn at link seven",
        "anchor chain is fine",
        "no leaks at the winch",
        "link wear is two point five millimetres",
    ),
)

Arpa = dict[tuple[str, ...], tuple[float, float]]


@pytest.fixture(scope="module")
def everyday() -> EverydayEnglish:
    whole = everyday_english()
    return EverydayEnglish(whole.sentences, whole.words[:1500], whole.general)


@pytest.fixture(scope="module")
def arpa_path(tmp_path_factory: pytest.TempPathFactory, everyday: EverydayEnglish) -> Path:
    path = tmp_path_factory.mktemp("lm") / "model.lm"
    write_language_model(MATERIAL, everyday, path)
    return path


@pytest.fixture(scope="module")
def arpa(arpa_path: Path) -> Arpa:
    return read_arpa(arpa_path)


def read_arpa(path: Path) -> Arpa:
    """Read by the format's description alone: log10 probability, words, back-off weight if any."""
    grams: Arpa = {}
    counts: dict[int, int] = {}
    order = 0
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("ngram "):
            n, count = line[6:].split("=")
            counts[int(n)] = int(count)
        elif line.endswith("-grams:"):
            order = int(line[1])
        elif line and not line.startswith("\\"):
            fields = line.split()
            backoff = float(fields[order + 1]) if len(fields) > order + 1 else 0.0
            grams[tuple(fields[1 : order + 1])] = (float(fields[0]), backoff)
    assert counts == {n: sum(len(gram) == n for gram in grams) for n in (1, 2, 3)}
    return grams


def probability(arpa: Arpa, history: tuple[str, ...], word: str) -> float:
    """Katz's rule for a back-off model: the longest n-gram there is, else weight times shorter history."""
    if (*history, word) in arpa:
        return float(10 ** arpa[(*history, word)][0])
    weight = arpa[history][1] if history in arpa else 0.0
    return float(10**weight) * probability(arpa, history[1:], word)


@pytest.mark.parametrize(
    "history",
    [
        ("the",),
        ("winch",),
        ("<s>", "the"),
        ("the", "winch"),
        ("deck", "hatch"),
        ("i", "think"),
        ("of", "the"),
        ("seized", "kettle"),  # never seen together
        ("millimetres", "winch"),
    ],
)
def test_successors_of_every_history_sum_to_one(arpa: Arpa, history: tuple[str, ...]) -> None:
    words = [gram[0] for gram in arpa if len(gram) == 1]
    total = sum(probability(arpa, history, word) for word in words)
    assert total == pytest.approx(1.0, abs=1e-3)


def test_pocketsphinx_reads_the_same_probabilities(arpa: Arpa, arpa_path: Path) -> None:
    """pocketsphinx's own NgramModel as the outside reader; it takes the predicted word first."""
    pocketsphinx = pytest.importorskip("pocketsphinx")
    config = pocketsphinx.Config(loglevel="FATAL")
    logmath = pocketsphinx.LogMath(1.0001, 0, False)
    model = pocketsphinx.NGramModel(config, logmath, str(arpa_path))
    draw = random.Random(3)
    words = sorted(gram[0] for gram in arpa if len(gram) == 1 and gram[0] not in ("<s>", "</s>"))
    seen = draw.sample(sorted(gram for gram in arpa if len(gram) == 3), 200)
    unseen = [tuple(draw.choices(words, k=3)) for _ in range(200)]
    for a, b, c in [*seen, *unseen]:
        theirs = model.prob([c, b, a]) * math.log(1.0001)
        ours = math.log(probability(arpa, (a, b), c))
        assert theirs == pytest.approx(ours, abs=0.02), (a, b, c)


def test_pack_phrases_and_everyday_talk_beat_scrambled_words(arpa: Arpa) -> None:
    def score(sentence: str) -> float:
        marked = ["<s>", *sentence.split(), "</s>"]
        logs = [
            math.log(probability(arpa, tuple(marked[max(0, i - 2) : i]), marked[i]))
            for i in range(1, len(marked))
        ]
        return sum(logs) / len(logs)

    assert score("the anchor chain is seized") > score("seized chain is the anchor") + 1
    assert score("i think it was all right") > score("right was think it all i") + 1


def test_words_of_all_three_sources_are_in(everyday: EverydayEnglish) -> None:
    words = build_language_model(MATERIAL, everyday).words
    assert words[:2] == ("<s>", "</s>")
    assert {"winch", "millimetres", "kettle", "the"} <= set(words)


def test_a_pack_word_that_everyday_english_lacks_gets_its_place(arpa: Arpa) -> None:
    assert probability(arpa, ("the",), "winch") > 5 * probability(arpa, ("he",), "winch")


def test_same_input_gives_the_same_file(tmp_path: Path) -> None:
    everyday = EverydayEnglish(sentences=(("how", "are", "you"),), words=("hello",))
    write_language_model(MATERIAL, everyday, tmp_path / "a")
    write_language_model(MATERIAL, everyday, tmp_path / "b")
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


def test_without_any_sentence_it_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(EngineError, match="no sentences"):
        write_language_model(SpeechMaterial(), EverydayEnglish(), tmp_path / "x")


def test_unwritable_path_is_an_engine_error(tmp_path: Path) -> None:
    with pytest.raises(EngineError, match="can't write the language model"):
        write_language_model(MATERIAL, EverydayEnglish(), tmp_path / "absent" / "x")


def test_estimate_by_hand() -> None:
    """Kneser-Ney on six words, worked by hand with the discount 0.5 of a text too small to tell.

    Sentences "a b" and "a b", ids <s>=0 </s>=1 a=2 b=3. Continuation counts: 1 for each of a, b, </s>.
    Unigram: (1 - .5) / 3 + .5 / 3 = 1/3.
    Bigram after a, one left context: (1 - .5) / 1 + .5 / 3 = 2/3.
    Trigram <s> a b, seen twice: (2 - 1) / 2 + 1 / 2 * 2/3 = 5/6.
    """
    model = estimate([[2, 3], [2, 3]], 4, 0, 1)
    assert np.exp(model.uni[1:]) == pytest.approx([1 / 3] * 3)
    assert np.exp(trigram_logs(model, np.array([(0 * 4 + 2) * 4 + 3])))[0] == pytest.approx(5 / 6)


def test_pruning_keeps_what_matters_and_stays_normalised(everyday: EverydayEnglish) -> None:
    full = build_language_model(MATERIAL, EverydayEnglish(everyday.sentences)).model
    small = prune(full, 1e-4)
    assert 0 < len(small.tri_keys) < len(full.tri_keys) / 2
    assert successors(small, 5, 9) == pytest.approx(1.0, abs=1e-6)


def test_pruning_weighs_a_history_by_how_often_it_is_met(everyday: EverydayEnglish) -> None:
    """A Kneser-Ney unigram never foretells the start mark, yet every sentence begins with it: how sentences
    begin would be the first thing to go (the fault that Chelba and others 2010 describe)."""
    parts, _ = model_parts(MATERIAL, EverydayEnglish(everyday.sentences))
    full = mixed_model(parts, [1.0] * len(parts), 0.0)
    pruned = mixed_model(parts, [1.0] * len(parts), 1e-5)

    def beginnings(model: NgramModel) -> int:
        return int((model.bi_keys < model.size).sum())

    assert len(pruned.tri_keys) < len(full.tri_keys)
    assert beginnings(pruned) > beginnings(full) / 2
    assert beginnings(prune(full, 1e-5)) < beginnings(full) / 10


def test_mixture_weights_by_hand() -> None:
    """Two models, one word that only the first foretells and one that only the second does: 3 to 1.

    With probabilities p and 0 the shares don't depend on p, so EM ends after one step at the share of words
    (Jelinek and Mercer 1980, from memory)."""
    first = np.log([0.5, 0.2, 0.1, 1e-300])
    second = np.log([1e-300, 1e-300, 1e-300, 0.3])
    assert mixture_weights([first, second]) == pytest.approx((0.75, 0.25), abs=1e-4)


def test_mixture_weights_are_the_best_ones() -> None:
    """Against a search over all weights in steps of 0.001."""
    draw = np.random.default_rng(4)
    logs = np.log(draw.uniform(0.001, 1.0, (2, 200)) ** 2)

    def likelihood(weight: float) -> float:
        return float(np.log(weight * np.exp(logs[0]) + (1 - weight) * np.exp(logs[1])).sum())

    best = max(np.arange(0.001, 1.0, 0.001), key=likelihood)
    assert mixture_weights(list(logs))[0] == pytest.approx(best, abs=0.002)


def test_perplexity_of_a_text() -> None:
    """Of a model that gives every one of 8 words the same chance it is 8, whatever is said."""
    assert perplexity(np.full(5, math.log(1 / 8))) == pytest.approx(8.0)


def test_word_logs_are_the_models_own() -> None:
    """By the estimate worked by hand above: <s> a b foretells b with 5/6. A word without id is skipped."""
    model = estimate([[2, 3], [2, 3]], 4, 0, 1)
    logs = word_logs(model, [[2, 3], [-1, 3]], 0, 1)
    assert len(logs) == 5  # a b </s>, b </s>
    assert math.exp(logs[1]) == pytest.approx(5 / 6)
    assert math.exp(logs[3]) == pytest.approx(1 / 3)


def successors(model: NgramModel, g: int, h: int) -> float:
    keys = (g * model.size + h) * model.size + np.arange(model.size)
    return float(np.exp(trigram_logs(model, keys)).sum())


def test_bundled_model_is_read_as_pocketsphinx_reads_it() -> None:
    """Against pocketsphinx's NgramModel.prob over the same file, seen and unseen trigrams."""
    pocketsphinx = pytest.importorskip("pocketsphinx")
    path = bundled_model_path()
    words = ["<s>", "</s>", *(word for word, _ in read_bundled_words(path)[:400] if word[0] not in "<[")]
    words = list(dict.fromkeys(words))
    model = read_bundled_model(path, {word: i for i, word in enumerate(words)})
    theirs = pocketsphinx.NGramModel(
        pocketsphinx.Config(loglevel="FATAL"), pocketsphinx.LogMath(1.0001, 0, False), str(path)
    )
    draw, size = np.random.default_rng(5), len(words)
    keys = np.concatenate([draw.choice(model.tri_keys, 200), draw.integers(size * size, size**3, 200)])
    logs = trigram_logs(model, keys)
    for key, log in zip(keys.tolist(), logs, strict=True):
        names = [words[key % size], words[key // size % size], words[key // size // size]]
        assert theirs.prob(names) * LOG_STEP == pytest.approx(log, abs=0.02), names


def test_a_damaged_bundled_model_is_an_engine_error(tmp_path: Path) -> None:
    broken = tmp_path / "broken.bin"
    broken.write_bytes(b"Trie Language Model\x03" + b"\x05" * 500)
    with pytest.raises(EngineError, match="can read"):
        read_bundled_words(broken)
