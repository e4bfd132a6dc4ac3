"""How many mis-heard terms are understood, before and after, and how many are invented in ordinary English.

    python tests/benchmarks/misheard.py [--show N] [--words N] [--seed N]

Each reader is given sentences like "the tales talk is cracked" and must name the thing that was meant. The
readers differ in how they guess terms, and in whether the pack's lists of mis-hearings are used:

  lists         the pack's own lists alone
  metaphone     letters run together and Double Metaphone keys, as before (metaphone_baseline.py)
  sounds        sequences of sounds over a window of words, against how ordinary the words are (near.py)

The mis-hearings:
  by hand       tests/data/misheard.yaml
  same sounds   made from terms of the pack: other everyday words that sound exactly like the term when said
                one after the other (CMUdict), the commonest such words
  one off       the same with one sound changed for a near one, dropped, or put in

Made ones whose words are found exactly are left out. They are parted by a checksum of the term: the
constants of near.py were chosen looking at the first half only; `held` is the half that nobody looked at.

Ordinary English: the samples of false_mentions.py, raw; guesses by sound per 10,000 words, all of them false,
and those that a judgement was tied to, so that a check got evidence by them.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import yaml
from false_mentions import sample
from metaphone_baseline import guess_terms
from ordinary_english import as_recognised, kinds

import voicenotes
from voicenotes.findings.read import transcript_of_text
from voicenotes.language import reader
from voicenotes.language.compile_lexicon import lexicon_of
from voicenotes.language.everyday import surprise
from voicenotes.language.hits import Hits
from voicenotes.language.lexicon import Lexicon, Subject
from voicenotes.language.near import heard_hits
from voicenotes.language.phrase_search import find_hits
from voicenotes.language.quantities import Quantity, detect_metric, find_quantities
from voicenotes.language.sound_index import joined
from voicenotes.language.sounds import sounds, sounds_of
from voicenotes.language.spelling_index import near_index
from voicenotes.language.words import Words, words_of
from voicenotes.vocabulary.homes import everyday_words
from voicenotes.vocabulary.pronunciation import english_sounds, in_dictionary, pronunciations
from voicenotes.vocabulary.schema import Pack

DATA = Path(__file__).parents[1] / "data" / "misheard.yaml"
CARRIERS = (
    "the {} is cracked",
    "the {} looks fine",
    "there is oil on the {} and it is loose",
    "the spindle is quiet and the chuck holds. the {} is worn",
    "the door seals are torn and the {} has play in it",
)
MOST_RARITY = 0.85
MOST_PIECES = 3
NEAR_ENOUGH = 0.3

Guesser = Callable[[Words, Lexicon, Hits, "list[Quantity]"], Hits]


class Case(NamedTuple):
    """What was meant, what was written, and what the meant term names."""

    meant: str
    heard: str
    subjects: frozenset[Subject]


def no_guess(words: Words, lexicon: Lexicon, hits: Hits, quantities: list[Quantity]) -> Hits:
    """Only what is found exactly or listed."""
    return hits


def by_metaphone(words: Words, lexicon: Lexicon, hits: Hits, quantities: list[Quantity]) -> Hits:
    """As before."""
    from dataclasses import replace

    guesses = guess_terms(words, lexicon, hits)
    return replace(hits, terms=tuple(sorted((*hits.terms, *guesses), key=lambda term: term.start)))


def without_lists(pack: Pack) -> Pack:
    """The pack without its lists of mis-hearings."""
    head = pack.head.model_copy(
        update={"fittings": tuple(f.model_copy(update={"misheard": ()}) for f in pack.head.fittings)}
    )
    return pack.model_copy(
        update={
            "head": head,
            "checks": tuple(check.model_copy(update={"misheard": ()}) for check in pack.checks),
            "parts": tuple(part.model_copy(update={"misheard": ()}) for part in pack.parts),
            "digest": pack.digest + " without lists",
        }
    )


def hits_in(text: str, lexicon: Lexicon, guess: Guesser) -> tuple[Words, Hits, Hits]:
    """The words of a text, what is found in them before guessing, and after."""
    words = words_of(transcript_of_text(text))
    hits = find_hits(words.norms, words.breaks, lexicon)
    quantities = find_quantities(words.norms, detect_metric(words.norms))
    return words, hits, guess(words, lexicon, hits, quantities)


def understood(case: Case, carrier: str, lexicon: Lexicon, guess: Guesser) -> bool:
    """Whether the thing meant is named where the term stood."""
    _, _, hits = hits_in(carrier.format(case.heard), lexicon, guess)
    first = len(words_of(transcript_of_text(carrier.partition("{}")[0])))
    last = first + len(case.heard.split())
    return any(
        case.subjects & set(term.subjects)
        for term in hits.terms
        if term.start < last and first < term.end and term.how != "exact"
    )


def subjects_of(meant: str, lexicon: Lexicon) -> frozenset[Subject]:
    """What a term names, found as it stands."""
    _, hits, _ = hits_in(f"the {meant}", lexicon, no_guess)
    return frozenset(subject for term in hits.terms for subject in term.subjects)


def by_hand(lexicon: Lexicon) -> list[Case]:
    """The mis-hearings collected by hand."""
    data = yaml.safe_load(DATA.read_text(encoding="utf-8"))["terms"]
    return [Case(meant, heard, subjects_of(meant, lexicon)) for meant in data for heard in data[meant]]


@lru_cache(maxsize=1)
def everyday_by_sound() -> dict[str, str]:
    """The commonest everyday word of each sequence of sounds."""
    found: dict[str, str] = {}
    for word in everyday_words():
        for said in in_dictionary(word)[:1]:
            found.setdefault(sounds_of(said), word)
    return found


def said_as(words: Iterable[str], pack: Pack) -> str:
    """The sounds of a term."""
    each = (pronunciations(word, pack.pronunciations, in_dictionary, english_sounds()) for word in words)
    return joined("".join(sounds_of(said[0]) for said in each if said))


def splits(sequence: str, pieces: int = MOST_PIECES) -> Iterator[tuple[str, ...]]:
    """Everyday words that sound so one after the other."""
    known = everyday_by_sound()
    if sequence in known:
        yield (known[sequence],)
    if pieces > 1:
        for at in range(2, len(sequence) - 1):
            if sequence[:at] in known:
                for rest in splits(sequence[at:], pieces - 1):
                    yield (known[sequence[:at]], *rest)


def one_off(sequence: str) -> Iterator[str]:
    """The sequences one sound apart."""
    table = sounds()
    for at, sound in enumerate(sequence):
        for other, cost in table.swap[sound].items():
            if 0 < cost <= NEAR_ENOUGH:
                yield sequence[:at] + other + sequence[at + 1 :]
        yield sequence[:at] + sequence[at + 1 :]
    for at in range(len(sequence) + 1):
        for sound in table.skip:
            yield sequence[:at] + sound + sequence[at:]


def made(pack: Pack, lexicon: Lexicon, bare: Lexicon, off: bool) -> list[Case]:
    """Mis-hearings made from the terms that a thing's list begins with: for each the commonest words."""
    cases = []
    for term, rarity in near_index(lexicon).rarity.items():
        if rarity > MOST_RARITY or len(term) > MOST_PIECES:
            continue
        sequence = said_as(term, pack)
        if not 5 <= len(sequence) <= 14:
            continue
        options = {
            words
            for near in (one_off(sequence) if off else [sequence])
            for words in splits(near)
            if "".join(words) != "".join(term)
        }
        for words in sorted(options, key=lambda words: (sum(map(surprise, words)), words))[:20]:
            heard = " ".join(words)
            case = Case(" ".join(term), heard, frozenset(lexicon.term_phrases[term]))
            _, hits, _ = hits_in(f"the {heard}", bare, no_guess)
            if not any(case.subjects & set(hit.subjects) for hit in hits.terms):
                cases.append(case)
                break
    return cases


def is_held(case: Case) -> bool:
    """Whether a case belongs to the half that was not looked at."""
    return zlib.crc32(case.meant.encode()) % 2 == 1


def report_recall(pack: Pack, show: int) -> None:
    """The table of the mis-hearings."""
    listed, bare = lexicon_of(pack), lexicon_of(without_lists(pack))
    readers: dict[str, tuple[Lexicon, Guesser]] = {
        "lists": (listed, no_guess),
        "lists, metaphone": (listed, by_metaphone),
        "lists, sounds": (listed, heard_hits),
        "metaphone": (bare, by_metaphone),
        "sounds": (bare, heard_hits),
    }
    same, off = made(pack, listed, bare, False), made(pack, listed, bare, True)
    sets = {
        "by hand": by_hand(listed),
        "same sounds": [case for case in same if not is_held(case)],
        "same, held": [case for case in same if is_held(case)],
        "one off": [case for case in off if not is_held(case)],
        "one off, held": [case for case in off if is_held(case)],
    }
    print(f"understood, percent, each in {len(CARRIERS)} sentences:")
    print(f"{'':<15}{'cases':>6}" + "".join(f"{name:>18}" for name in readers))
    for name, cases in sets.items():
        line = f"{name:<15}{len(cases):>6}"
        for lexicon, guess in readers.values():
            right = sum(understood(case, carrier, lexicon, guess) for case in cases for carrier in CARRIERS)
            line += f"{100 * right / max(1, len(cases) * len(CARRIERS)):>18.1f}"
        print(line)
    for name, cases in sets.items():
        if show and "held" not in name:
            lexicon, guess = readers["sounds"]
            missed = [c for c in cases if not all(understood(c, s, lexicon, guess) for s in CARRIERS)]
            print(f"\n{name}, missed in some sentence by sounds alone:")
            for case in missed[:show]:
                marks = "".join(".x"[understood(case, s, lexicon, guess)] for s in CARRIERS)
                print(f"  {marks} {case.heard} for {case.meant}")


def report_kept(pack: Pack) -> None:
    """The words that decide about verdicts: how many sentences have one of them in a guess."""
    lexicon = lexicon_of(pack)
    changed = []
    for kept in yaml.safe_load(DATA.read_text(encoding="utf-8"))["kept"]:
        words, _, hits = hits_in(kept["say"], lexicon, heard_hits)
        for term in hits.terms:
            if term.how == "sound" and set(words.norms[term.start : term.end]) & set(kept["keep"]):
                changed.append(f"{kept['say']}: {term.phrase}")
    print(f"\nwords of verdicts changed by sound: {len(changed)}  {'; '.join(changed)}")


def report_inventions(pack: Pack, words: int, seed: int, show: int) -> None:
    """Guesses by sound in ordinary English."""
    lexicon = lexicon_of(pack)
    guessers: dict[str, Guesser] = {"metaphone": by_metaphone, "sounds": heard_hits}
    print("\nguesses by sound in ordinary English, and evidence that checks got by them, per 10,000 words:")
    print(f"{'':<15}{'words':>8}" + "".join(f"{name:>13}{'evidence':>10}" for name in guessers))
    totals = dict.fromkeys(guessers, (0, 0))
    total_words = 0
    shown: list[str] = []
    for name, paragraphs in kinds():
        texts = [as_recognised(text) for text in sample(paragraphs, words, seed)]
        count = sum(len(text.split()) for text in texts)
        total_words += count
        line = f"{name:<15}{count:>8}"
        for guesser, guess in guessers.items():
            guessed = evidence = 0
            for text in texts:
                said, _, hits = hits_in(text, lexicon, guess)
                for term in hits.terms:
                    if term.how == "sound":
                        guessed += 1
                        if guesser == "sounds":
                            here = " ".join(said.norms[max(0, term.start - 4) : term.end + 4])
                            shown.append(f"{term.phrase:<18} {here}")
                evidence += (
                    evidence_by_sound(text, pack, guess)
                    if any(term.how == "sound" for term in hits.terms)
                    else 0
                )
            totals[guesser] = (totals[guesser][0] + guessed, totals[guesser][1] + evidence)
            line += f"{10_000 * guessed / count:>13.2f}{10_000 * evidence / count:>10.2f}"
        print(line, flush=True)
    line = f"{'all':<15}{total_words:>8}"
    for guessed, evidence in totals.values():
        line += f"{10_000 * guessed / total_words:>13.2f}{10_000 * evidence / total_words:>10.2f}"
    print(line)
    for example in shown[:: max(1, len(shown) // show)] if show else ():
        print(f"  {example}")


def evidence_by_sound(text: str, pack: Pack, guess: Guesser) -> int:
    """How much evidence rests on a guess by sound when the text is read with this way of guessing."""
    usual = reader.heard_hits
    reader.heard_hits = guess  # type: ignore[assignment]
    try:
        record = voicenotes.read_text(text, pack)
    finally:
        reader.heard_hits = usual
    return sum("(sounds like" in piece.why for check in record.checks for piece in check.evidence)


def main() -> None:
    """Print all the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--show", type=int, default=0, help="examples to print of each table")
    parser.add_argument(
        "--words", type=int, default=40_000, help="most words of each kind of ordinary English"
    )
    parser.add_argument("--seed", type=int, default=1, help="another number chooses other samples")
    options = parser.parse_args()
    pack = voicenotes.load_pack("cnc_lathe")
    report_recall(pack, options.show)
    report_kept(pack)
    if options.words:
        report_inventions(pack, options.words, options.seed, options.show)
    sys.stdout.flush()


if __name__ == "__main__":
    main()
