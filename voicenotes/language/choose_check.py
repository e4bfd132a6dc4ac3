"""From a condition and the things it is about to the check that is judged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from voicenotes.vocabulary.schema import GENERAL

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from voicenotes.language.hits import TermHit
    from voicenotes.language.lexicon import Judgement, Lexicon, Subject
    from voicenotes.vocabulary.schema import Check

# How well a condition and a subject together name a check.
OWN_TERM, PART_OWN, PART_ASPECT, NAMED_ASPECT = 6.0, 6.0, 5.0, 4.5
TERM_GENERAL, DEFAULT_GENERAL, ONLY_ONE_HERE, TERM_OTHER_ASPECT = 4.0, 3.5, 3.2, 2.0
PLACE_OWN = 3.0
_HERE, _PART_HERE, _OTHER_SUBJECT, _NAMED_ITSELF, _ONLY_INNER = 0.3, 1.2, 0.8, 0.4, 0.6


@dataclass(frozen=True)
class Here:
    """Where he stands, and the checks that he spoke of just before."""

    station: str | None = None
    recent: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Choice:
    """A check, the meaning of the condition that fits it, and how surely it was meant."""

    check: str
    meaning: Judgement
    score: float
    via: TermHit | None
    part: str | None = None
    loose: bool = False  # the condition is one of another aspect


def expand_subjects(lexicon: Lexicon, subjects: Iterable[Subject]) -> list[Subject]:
    """Subjects with words for several parts ("both axes") replaced by those parts."""
    from voicenotes.language.lexicon import Subject as Named

    result: list[Subject] = []
    for subject in subjects:
        meant = lexicon.means.get(subject.id, ()) if subject.kind == "part" else ()
        result.extend([Named("part", part) for part in meant] or [subject])
    return result


def fitting_meaning(
    check: Check, meanings: Sequence[Judgement], inner: Sequence[Judgement]
) -> tuple[Judgement, str] | None:
    """The meaning of a condition for a check, and whether it is its own, an aspect's or general.

    Shorter phrases inside the condition count only when the whole phrase means nothing here, and inside
    one that is bad wherever it is known, only the bad ones; of those that disagree the bad one counts.
    """
    allowed = (
        ("bad",) if meanings and all(m.polarity == "bad" for m in meanings) else ("good", "bad", "noted")
    )
    shorter = [meaning for meaning in inner if meaning.polarity in allowed]
    for level, prefix in ((meanings, ""), (shorter, "inner ")):
        judging = [m for m in level if m.polarity != "name"] or level
        own = [m for m in judging if m.owner == check.id]
        if own:
            return _worst(own), prefix + "own"
        aspect = [m for m in judging if m.owner in check.aspects]
        if aspect:
            return _worst(aspect), prefix + "aspect"
        general = [m for m in level if m.owner == GENERAL]
        if general:
            return _sharpened(check, _worst(general), shorter if level is meanings else ()) or (
                _worst(general),
                prefix + "general",
            )
    return None


def _sharpened(
    check: Check, general: Judgement, shorter: Sequence[Judgement]
) -> tuple[Judgement, str] | None:
    """A word of the check's own inside a general phrase that says the same: "couldn't be | smoother"."""
    alike = [m for m in shorter if m.polarity == general.polarity]
    own = [m for m in alike if m.owner == check.id]
    aspect = [m for m in alike if m.owner in check.aspects]
    if own:
        return own[0], "own"
    return (aspect[0], "aspect") if aspect else None


def _worst(meanings: Sequence[Judgement]) -> Judgement:
    order = {"bad": 0, "good": 1, "noted": 1, "unwanted": 2, "wanted": 3, "name": 4}
    return min(meanings, key=lambda meaning: order[meaning.polarity])


def choose_checks(
    lexicon: Lexicon,
    meanings: Sequence[Judgement],
    inner: Sequence[Judgement],
    term: TermHit,
    others: Sequence[TermHit],
    named_aspects: frozenset[str],
    here: Here,
) -> list[Choice]:
    """The checks that a condition said of a term judges; empty when it is not clear which."""
    said = _Said(meanings, inner, term, others, named_aspects, here)
    found: list[Choice] = []
    for subject in expand_subjects(lexicon, term.subjects):
        ids = (subject.id,) if subject.kind == "check" else lexicon.by_part.get(subject.id, ())
        default = lexicon.defaults.get(subject.id) if subject.kind != "check" else None
        if default and default not in ids:
            ids = (*ids, default)
        found += _scored(lexicon, said, subject, ids, default)
    if not any(choice.score >= TERM_GENERAL for choice in found):
        found += _by_inner_part(lexicon, said)
    found += _neighbours(lexicon, meanings, found, term)
    if not found:
        return []
    return _best(lexicon, found)


@dataclass(frozen=True)
class _Said:
    """A condition said of a term, with what stands around them."""

    meanings: Sequence[Judgement]
    inner: Sequence[Judgement]
    term: TermHit
    others: Sequence[TermHit]
    named_aspects: frozenset[str]
    here: Here


def _scored(
    lexicon: Lexicon, said: _Said, subject: Subject, ids: Iterable[str], default: str | None = None
) -> list[Choice]:
    """The checks of a subject that the condition fits at all, each with its score."""
    scored = (_score(lexicon, said, check_id, subject, default) for check_id in ids)
    return [choice for choice in scored if choice is not None]


def _by_inner_part(lexicon: Lexicon, said: _Said) -> list[Choice]:
    """ "Turret indexes, no clunk": a check's term also names its part, for checks of the same station."""
    stations = {lexicon.checks[s.id].station for s in said.term.subjects if s.kind == "check"}
    found: list[Choice] = []
    for subject in said.term.inner:
        ids = [i for i in lexicon.by_part.get(subject.id, ()) if lexicon.checks[i].station in stations]
        found += _scored(lexicon, said, subject, ids)
    return [choice for choice in found if choice.score > TERM_GENERAL]


def _neighbours(
    lexicon: Lexicon, meanings: Sequence[Judgement], found: Sequence[Choice], term: TermHit
) -> list[Choice]:
    """Where a named check only half fits ("regulator leaks"), the one check of its station that is
    about just that side of things ("air leaks")."""
    if not found or any(choice.score > TERM_OTHER_ASPECT + _HERE + _OTHER_SUBJECT for choice in found):
        return []
    station = lexicon.checks[found[0].check].station
    return [
        Choice(choice.check, choice.meaning, TERM_OTHER_ASPECT + 2.0, term, found[0].part)
        for choice in choose_by_place(
            lexicon, [m for m in meanings if m.owner not in lexicon.checks], station
        )
    ]


def _score(
    lexicon: Lexicon, said: _Said, check_id: str, subject: Subject, default: str | None
) -> Choice | None:
    check = lexicon.checks[check_id]
    meant = fitting_meaning(check, said.meanings, said.inner)
    own_term = subject.kind == "check"
    if meant is None:
        of_aspects = [
            meaning
            for meaning in said.meanings
            if meaning.owner in lexicon.anywhere and meaning.polarity in ("good", "bad")
        ]
        if not own_term or not of_aspects:
            return None
        meant = (_worst(of_aspects), "other")
    meaning, level = meant
    if meaning.polarity == "name":
        return None
    score = 0.0
    is_inner, level = level.startswith("inner "), level.removeprefix("inner ")
    if level in ("own", "aspect"):
        score = OWN_TERM if own_term else PART_OWN if level == "own" else PART_ASPECT
        if level == "own":
            known = any(m.owner in check.aspects and m.polarity == meaning.polarity for m in said.meanings)
            score += (0.2 if own_term else 0.0) + (0.1 if known else 0.0)
    elif level == "general":
        aspect_named = bool(said.named_aspects & {*check.aspects, check.id})
        if own_term:
            score = TERM_GENERAL + (0.5 if aspect_named else 0.0)
        elif aspect_named:
            score = NAMED_ASPECT
        elif default == check_id:
            score = DEFAULT_GENERAL
        elif check.station == said.here.station and _only_one_here(lexicon, subject, check.station):
            score = ONLY_ONE_HERE
        elif check.id in said.here.recent and not is_inner:
            score = ONLY_ONE_HERE - 0.1
        elif _named_too(lexicon, check, said.others):
            score = ONLY_ONE_HERE - 0.2
    elif level == "other":
        score = TERM_OTHER_ASPECT
    if score == 0.0:
        return None
    score -= _ONLY_INNER if is_inner else 0.0
    if check.station == said.here.station:
        score += _HERE if own_term else _PART_HERE
    if check.id in said.named_aspects and level != "own":
        score += _NAMED_ITSELF
    if _named_too(lexicon, check, said.others):
        score += _OTHER_SUBJECT
    return Choice(check_id, meaning, score, said.term, None if own_term else subject.id, level == "other")


def _only_one_here(lexicon: Lexicon, subject: Subject, station: str) -> bool:
    here = [c for c in lexicon.by_part.get(subject.id, ()) if lexicon.checks[c].station == station]
    return len(here) == 1


def _named_too(lexicon: Lexicon, check: Check, others: Sequence[TermHit]) -> bool:
    """Whether another term of the remark also belongs to the check, or names its station's fitting."""
    for term in others:
        for subject in expand_subjects(lexicon, term.subjects):
            if subject.kind == "check":
                if subject.id == check.id:
                    return True
            elif subject.id in check.parts or subject.id in (check.fitting, check.station):
                return True
    return False


def _best(lexicon: Lexicon, found: list[Choice]) -> list[Choice]:
    """The best choice; several when they are for different parts ("both axes") or all their own words."""
    results: list[Choice] = []
    for part in dict.fromkeys(choice.part for choice in found):
        same = [choice for choice in found if choice.part == part]
        top = max(choice.score for choice in same)
        best = [choice for choice in same if choice.score > top - 0.05]
        stations = {lexicon.checks[choice.check].station for choice in best}
        if len(stations) > 1 and part is None:
            best = best[:1]  # a term of several stations' checks means the first on the walk round
        if len(best) > 1 and not _own_of_one_station(lexicon, best):
            continue
        results.extend(best)
    if not results:
        return []
    top = max(choice.score for choice in results)
    parts = {choice.part for choice in results}
    parts_are_listed = len(parts) > 1 and parts <= {
        part for means in lexicon.means.values() for part in means
    }
    kept = results if parts_are_listed else [choice for choice in results if choice.score > top - 0.05]
    checks = {choice.check for choice in kept}
    if len(checks) > 1 and not parts_are_listed and not _own_of_one_station(lexicon, kept):
        return []
    return list({choice.check: choice for choice in kept}.values())


def _own_of_one_station(lexicon: Lexicon, choices: Sequence[Choice]) -> bool:
    """Whether the condition stands in each check's own list, all at one station ("runs both ways")."""
    stations = {lexicon.checks[choice.check].station for choice in choices}
    polarities = {choice.meaning.polarity for choice in choices}
    return (
        len(stations) == 1
        and len(polarities) == 1
        and all(choice.meaning.owner == choice.check for choice in choices)
    )


def choose_by_itself(meanings: Sequence[Judgement], lexicon: Lexicon) -> list[Choice]:
    """A phrase of several words that one check alone knows names that check ("swarf packed in")."""
    owners = {meaning.owner for meaning in meanings}
    if len(owners) != 1 or not owners <= set(lexicon.checks):
        return []
    meaning = _worst(list(meanings))
    return [] if meaning.polarity == "name" else [Choice(meaning.owner, meaning, PLACE_OWN, None)]


def choose_by_place(lexicon: Lexicon, meanings: Sequence[Judgement], station: str | None) -> list[Choice]:
    """Said at a station with nothing named, a condition means the one check there that knows it."""
    found = []
    for check in lexicon.checks.values():
        if check.station != station:
            continue
        own = [m for m in meanings if m.owner == check.id or m.owner in check.aspects]
        if own and _worst(own).polarity != "name":
            found.append(Choice(check.id, _worst(own), PLACE_OWN, None))
    return found if len(found) == 1 else []
