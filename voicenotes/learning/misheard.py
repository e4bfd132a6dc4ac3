"""What a mis-heard word that was put right suggests: what is written for a term, or how the word is said.

The reader works on words, so a term that was written otherwise helps it at once, whatever engine wrote it.
How a word is said helps the engine that has a dictionary: with words that no dictionary knows, and with those
that are in no term, such as judgements.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.corrections.reread import changed_quote
from voicenotes.findings.read import transcript_of_text
from voicenotes.language.compile_lexicon import lexicon_of
from voicenotes.language.everyday import ordinary_words
from voicenotes.language.reader import views_of
from voicenotes.language.sounds import distance, sounds_of
from voicenotes.language.words import words_of
from voicenotes.vocabulary.pronunciation import english_sounds, in_dictionary, pronunciations

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from voicenotes.corrections.values import WordChange
    from voicenotes.language.hits import TermHit
    from voicenotes.language.words import Words
    from voicenotes.vocabulary.schema import Pack

MOST_WORDS = 4
# A sound. A person said what was meant, so it may be further off than what the reader guesses by itself:
# pairs built by hand stay below 0.27, words that have nothing in common begin at 0.37.
MOST_APART = 0.32
MOST_SAYINGS = 4
NO_TERM = "is in no term of the pack"


@dataclass(frozen=True)
class Alias:
    """`heard` is what was written for the term `said`, which names the things in `means`."""

    heard: str
    said: str
    means: tuple[str, ...]
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class SaidLike:
    """How a word that no dictionary knows is said: what it was taken for until now, and as it was heard."""

    word: str
    heard: str
    sounds: tuple[str, ...]


@dataclass(frozen=True)
class Nothing:
    """Nothing is suggested, and why."""

    why: str


def from_words(quote: str, changes: Sequence[WordChange], pack: Pack) -> list[Alias | SaidLike | Nothing]:
    """What the changes of one remark suggest, each separately."""
    now = changed_quote(quote, changes)
    if now is None:
        return [Nothing("the words to be put right don't stand there")]
    found: list[Alias | SaidLike | Nothing] = []
    for change in changes:
        aliases = list(_aliases(quote, now, change, changes, pack))
        in_term = not any(isinstance(one, Nothing) and one.why.endswith(NO_TERM) for one in aliases)
        some = [*aliases, *_sayings(change, pack, in_term)]
        useful = [one for one in some if not isinstance(one, Nothing)]
        found += useful or some[:1]
    return list(dict.fromkeys(found))


def _norms(text: str) -> tuple[str, ...]:
    return words_of(transcript_of_text(text)).norms


def _terms(words: Words, pack: Pack) -> list[TermHit]:
    return [term for view, _, _ in views_of(words, lexicon_of(pack), None) for term in view.terms]


def _aliases(
    quote: str, now: str, change: WordChange, changes: Sequence[WordChange], pack: Pack
) -> Iterator[Alias | Nothing]:
    """The terms that a change brought into a remark, with what stood in their place."""
    if not change.heard.strip() or not change.said.strip():
        yield Nothing("words were put in or taken out, none was heard for another")
        return
    by_itself = words_of(transcript_of_text(change.said))
    for term in () if ordinary_words().issuperset(_norms(change.heard)) else _terms(by_itself, pack):
        if (term.start, term.end) == (0, len(by_itself)) and term.how in ("exact", "inflected"):
            yield _alias(_norms(change.heard), by_itself.norms, _things(term), pack)
            return
    words = words_of(transcript_of_text(now))
    slots = _slots(quote, changes)
    here = [at for at, (_, by) in enumerate(slots) if by is change]
    terms = [
        term
        for term in _terms(words, pack)
        if term.how in ("exact", "inflected")
        and any(words.spoken[word] in here for word in range(term.start, term.end))
    ]
    if not terms:
        yield Nothing(f'"{change.said}" {NO_TERM}')
    for term in terms:
        covered = sorted({words.spoken[word] for word in range(term.start, term.end)})
        heard = _norms(" ".join(dict.fromkeys(slots[at][0] for at in covered)))
        said = words.norms[term.start : term.end]
        yield _alias(heard, said, _things(term), pack)


def _things(term: TermHit) -> tuple[str, ...]:
    return tuple(subject.id for subject in term.subjects if subject.kind != "machine")


def _slots(quote: str, changes: Sequence[WordChange]) -> list[tuple[str, WordChange | None]]:
    """For each word of the corrected quote, what was heard there, and the change that it comes from."""
    by_place = {change.at: change for change in changes}
    old = quote.split()
    slots: list[tuple[str, WordChange | None]] = []
    at = 0
    while at <= len(old):
        change = by_place.get(at)
        if change is not None:
            slots += [(change.heard, change)] * len(change.said.split())
        if change is not None and change.heard:
            at += len(change.heard.split())
            continue
        if at < len(old):
            slots.append((old[at], None))
        at += 1
    return slots


def _alias(
    heard: tuple[str, ...], said: tuple[str, ...], means: tuple[str, ...], pack: Pack
) -> Alias | Nothing:
    phrase, term = " ".join(heard), " ".join(said)
    if not means:
        return Nothing(f'"{term}" names the whole machine')
    if not all(word.isascii() and word.isalpha() for word in (*heard, *said)) or len(heard) > MOST_WORDS:
        return Nothing(f'"{phrase}" is not a few plain words')
    if len(heard) == 1 and heard[0] in ordinary_words():
        return Nothing(f'"{phrase}" is an everyday word: it would be taken for "{term}" wherever it is said')
    if not _sounds_alike(heard, said, pack.pronunciations):
        return Nothing(f'"{phrase}" doesn\'t sound like "{term}"')
    ids = set(means)
    known = _terms(words_of(transcript_of_text(phrase)), pack)
    if any(ids.issuperset(s.id for s in t.subjects) and t.end - t.start == len(heard) for t in known):
        return Nothing(f'"{phrase}" is understood already')
    cautions = tuple(
        f'"{" ".join(heard[other.start : other.end])}" is itself a term of the pack, of other things'
        for other in known
        if other.how in ("exact", "inflected") and not ids.issuperset(s.id for s in other.subjects)
    )
    if ordinary_words().issuperset(heard):
        cautions += (f'"{phrase}" are everyday words, taken for "{term}" wherever they are said',)
    return Alias(phrase, term, means, cautions)


def _sayings(change: WordChange, pack: Pack, in_term: bool) -> Iterator[SaidLike | Nothing]:
    """How a single word that the pack uses was said. Of one that a dictionary has this is learnt only where
    it is in no term: a term is understood by what was written for it."""
    heard, said = _norms(change.heard), _norms(change.said)
    if len(said) != 1 or not heard or len(heard) > MOST_WORDS:
        return
    [word] = said
    spelt = all(each.isascii() and each.isalpha() for each in (word, *heard))
    if not spelt or word not in lexicon_of(pack).own_words:
        return
    if in_term and (english_sounds().words.get(word) or in_dictionary(word)):
        return
    given = pack.pronunciations
    usual = pronunciations(word, given, in_dictionary, english_sounds())
    as_heard = " ".join(pronunciations(each, given, in_dictionary, english_sounds())[0] for each in heard)
    if not as_heard or as_heard in usual:
        return
    if len(heard) == 1:
        yield Nothing(f'"{word}" said like "{heard[0]}" would be taken for that word')
    elif not _sounds_alike(heard, said, given):
        yield Nothing(f'"{" ".join(heard)}" doesn\'t sound like "{word}"')
    else:
        kept = usual[: MOST_SAYINGS - 1]
        yield SaidLike(word, " ".join(heard), (*kept, as_heard))


def _sounds_alike(heard: Iterable[str], said: Iterable[str], given: Mapping[str, tuple[str, ...]]) -> bool:
    """Whether some words can be taken for others by their sound."""
    first, second = _sequence(heard, given), _sequence(said, given)
    most = MOST_APART * max(len(first), len(second), 1)
    return bool(first and second) and distance(first, second, most) < most


def _sequence(words: Iterable[str], given: Mapping[str, tuple[str, ...]]) -> str:
    known = (pronunciations(word, given, in_dictionary, english_sounds())[:1] for word in words)
    return "".join(sounds_of(said[0]) for said in known if said)
