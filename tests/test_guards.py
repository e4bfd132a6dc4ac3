"""The guards against invented text, loops and drifting times, with the sounds that provoke them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from make_audio import noise
from whisper_stand_ins import NOT_SPEECH, RATE, SENTENCE, Samples, silence, spoken

from voicenotes.model import Word
from voicenotes.speech.guard_limits import GuardLimits
from voicenotes.speech.guard_loops import compression_ratio
from voicenotes.speech.guard_silence import INVENTED, NOBODY, TOO_MANY, known_inventions
from voicenotes.speech.guards import Guarded, guarded, guards_digest
from voicenotes.speech.passage import Passage
from voicenotes.speech.voice_activity import (
    BEGIN,
    FRAME_S,
    LONGEST_S,
    VoiceActivity,
    speech_stretches,
    voice_activity,
)


def passage(
    text: str,
    start: float,
    each: float = 0.3,
    confidence: float = 0.9,
    log: float | None = -0.3,
    no_speech: float | None = 0.05,
) -> Passage:
    """Words one after the other, `each` seconds long."""
    words = [
        Word(text=word, start=start + i * each, end=start + (i + 1) * each, confidence=confidence)
        for i, word in enumerate(text.split())
    ]
    return Passage(tuple(words), log, no_speech)


def judge(samples: Samples, *passages: Passage) -> Guarded:
    return guarded(passages, voice_activity(samples))


def texts(words: Sequence[Word]) -> str:
    return " ".join(word.text for word in words)


# --- invented text ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sound", NOT_SPEECH)
@pytest.mark.parametrize(
    ("written", "why"),
    [
        # Typical of Whisper over noise: a phrase it is sure of (arXiv 2501.11378) ...
        (passage("Thank you for watching.", 2.0, confidence=0.95), INVENTED),
        (passage("Thank you.", 1.0, each=1.5, confidence=0.7, log=-0.4, no_speech=0.5), INVENTED),
        # ... the hotwords themselves (faster-whisper issue 1356), which it is not sure of ...
        (passage("spindle turret tailstock gib", 2.0, confidence=0.2), NOBODY),
        (passage("spindle turret tailstock gib", 2.0, log=-1.3), NOBODY),
        # ... or anything, where it says itself that nobody speaks.
        (passage("I'm going to go to the shop.", 2.0, no_speech=0.8), NOBODY),
    ],
)
def test_text_over_what_is_no_speech_is_left_out(sound: str, written: Passage, why: str) -> None:
    words, left_out = judge(NOT_SPEECH[sound](10), written)
    assert words == ()
    [only] = left_out
    assert (only.text, only.why) == (written.text, why)
    assert (only.start, only.end) == (written.words[0].start, pytest.approx(written.words[-1].end))


def test_probable_words_where_nobody_is_heard_are_kept_and_doubted() -> None:
    words, left_out = judge(silence(10), passage("the way covers are dented", 2.0, confidence=0.9))
    assert texts(words) == "the way covers are dented"
    assert left_out == ()
    assert [word.confidence for word in words] == [pytest.approx(0.45)] * 5


@pytest.mark.parametrize(
    "phrase", ["thank you", "Okay.", "So.", "I don't know.", "Yeah", "Thank you so much!"]
)
def test_a_phrase_that_is_really_said_is_kept(phrase: str) -> None:
    speech = spoken(phrase)
    samples = np.concatenate([silence(1), speech, silence(1)])
    count = len(phrase.split())
    words, left_out = judge(samples, passage(phrase, 1.15, each=(len(speech) / RATE - 0.3) / count))
    assert (texts(words), left_out) == (phrase, ())
    assert [word.confidence for word in words] == [0.9] * count


def test_an_invented_phrase_after_a_remark_goes_alone() -> None:
    samples = np.concatenate([spoken(), silence(6)])
    words, left_out = judge(samples, passage(f"{SENTENCE}. Thank you for watching.", 0.1, each=0.3))
    assert texts(words).startswith("the gib is loose")
    assert texts(words).endswith("growls.")
    assert [(out.text, out.why) for out in left_out] == [("Thank you for watching.", INVENTED)]


def test_the_list_of_phrases_is_in_the_packs_english() -> None:
    assert ("thank", "you", "for", "watching") in known_inventions()
    assert all(phrase == tuple(word.casefold() for word in phrase) for phrase in known_inventions())


def test_more_words_than_anybody_can_say() -> None:
    flood = " ".join(f"word{i}" for i in range(60))
    samples = np.concatenate([silence(1), spoken(), silence(1)])
    words, left_out = judge(samples, passage(flood, 1.0, each=0.04, confidence=0.3))
    assert (words, [out.why for out in left_out]) == ((), [TOO_MANY])
    words, left_out = judge(samples, passage(flood, 1.0, each=0.04, confidence=0.8))
    assert (len(words), left_out) == (60, ())  # in doubt kept, and doubted
    assert {word.confidence for word in words} == {0.4}


# --- what must survive --------------------------------------------------------------------------------------


@pytest.mark.parametrize("voice", ["slt", "rms", "awb", "kal16"])
@pytest.mark.parametrize("decibels", [0, -20, -40, -55])
def test_quiet_speech_survives(voice: str, decibels: int) -> None:
    speech = spoken(SENTENCE, voice) * np.float32(10 ** (decibels / 20))
    samples = np.concatenate([silence(2), speech, silence(2)])
    each = (len(speech) / RATE - 0.3) / 8
    told = judge(samples, passage(SENTENCE, 2.15, each=each, confidence=0.3, log=-0.9))
    assert texts(told.words) == SENTENCE
    assert told.left_out == ()
    assert {word.confidence for word in told.words} == {0.3}


@pytest.mark.parametrize("snr", [20, 10, 5, 0])
def test_speech_in_noise_survives(snr: int) -> None:
    speech = spoken()
    samples = noise(len(speech) / RATE + 4, float(np.std(speech)) / 10 ** (snr / 20), 0.5)
    samples[2 * RATE : 2 * RATE + len(speech)] += speech
    told = judge(samples, passage(SENTENCE, 2.15, confidence=0.3))
    assert (texts(told.words), told.left_out) == (SENTENCE, ())


def test_speech_with_long_pauses_survives() -> None:
    parts = [
        spoken("the gib is loose"),
        silence(7),
        spoken("the spindle growls"),
        silence(12),
        spoken("no leaks"),
    ]
    starts = np.cumsum([0, *(len(part) / RATE for part in parts)])
    told = judge(
        np.concatenate(parts),
        passage("the gib is loose", starts[0] + 0.1),
        passage("the spindle growls", starts[2] + 0.1),
        passage("no leaks", starts[4] + 0.1, each=0.25),
    )
    assert (texts(told.words), told.left_out) == ("the gib is loose the spindle growls no leaks", ())


def test_improbable_words_whose_times_may_have_drifted_are_kept_and_doubted() -> None:
    # Issues 294 and 759: text of speech that was said seconds before, in the silence after it.
    told = judge(np.concatenate([spoken(), silence(8)]), passage(SENTENCE, 5.0, confidence=0.3))
    assert (texts(told.words), told.left_out) == (SENTENCE, ())
    assert all(word.confidence == pytest.approx(0.15) for word in told.words[:-1])


# --- loops --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("again", "rounds", "each"),
    [
        # Issues 40, 465, 716: a sentence, a pair or a word over and over until the window is full.
        ("the gib is loose", 12, 0.05),
        ("it is", 40, 0.03),
        ("no", 100, 0.02),
        ("and the spindle growls at two thousand", 6, 0.3),
    ],
)
def test_a_loop_keeps_its_first_round(again: str, rounds: int, each: float) -> None:
    samples = np.concatenate([spoken(), silence(12)])
    written = " ".join([again] * rounds)
    words, left_out = judge(samples, passage(written, 0.1, each=each))
    assert texts(words) == again
    [only] = left_out
    assert only.text == " ".join([again] * (rounds - 1))
    assert only.why.startswith("the same")
    assert f" {rounds} times" in only.why


def test_a_loop_over_several_passages() -> None:
    # Each window writes the same again (issue 716, with the text before as prompt).
    samples = np.concatenate([spoken(), silence(20)])
    told = judge(samples, *(passage("the gib is loose.", 0.2 + 3 * i, each=0.2) for i in range(6)))
    assert texts(told.words) == "the gib is loose."
    assert [out.text.count("gib") for out in told.left_out] == [5]


@pytest.mark.parametrize(
    ("said", "each"),
    [
        ("no no no", 0.3),
        ("serial number two zero zero zero zero zero zero zero one", 0.35),
        ("one clamps two clamps three clamps four clamps five clamps", 0.3),
        ("tool one fine tool two fine tool three fine tool four fine", 0.3),
        ("X is fine Z is fine Y is fine", 0.3),
    ],
)
def test_what_is_really_repeated_is_kept(said: str, each: float) -> None:
    speech = spoken(said)
    each = min(each, (len(speech) / RATE - 0.2) / len(said.split()))
    assert judge(speech, passage(said, 0.1, each=each)) == (passage(said, 0.1, each=each).words, ())


def test_compression_ratio_is_whispers() -> None:
    from faster_whisper.transcribe import get_compression_ratio

    for text in ("the gib is loose", "no " * 50, SENTENCE * 3):
        assert compression_ratio(text) == get_compression_ratio(text)
    assert compression_ratio("") == 0.0


# --- times --------------------------------------------------------------------------------------------------


def test_a_first_word_pulled_early_comes_back_to_where_speech_begins() -> None:
    # Issue 125: after silence the first word starts up to ten seconds early.
    samples = np.concatenate([silence(9), spoken(), silence(1)])
    late = passage("gib is loose and the spindle growls", 9.35, each=0.28)
    for start, end in ((0.5, 0.9), (0.5, 9.3), (4.0, 9.2)):
        first = Word(text="the", start=start, end=end, confidence=0.9)
        words, left_out = judge(samples, Passage((first, *late.words), -0.3, 0.05))
        assert left_out == ()
        assert 8.9 <= words[0].start <= words[0].end <= 9.4
        assert words[0].start < words[1].start
        assert words[0].confidence == 0.9


def test_a_last_word_that_comes_late_goes_back_to_where_speech_ends() -> None:
    samples = np.concatenate([spoken(), silence(9)])
    end_of_speech = len(spoken()) / RATE
    early = passage("the gib is loose and the spindle", 0.1, each=0.22)
    for start, end in ((7.0, 7.5), (end_of_speech - 0.4, 9.0)):
        last = Word(text="growls", start=start, end=end, confidence=0.9)
        words, left_out = judge(samples, Passage((*early.words, last), -0.3, 0.05))
        assert left_out == ()
        assert early.words[-1].start <= words[-1].start <= words[-1].end <= end_of_speech + 0.3


def test_times_fall_nowhere_and_stay_inside() -> None:
    speech = spoken()
    seconds = len(speech) / RATE
    heard = [
        ("the", 0.2, 0.1),
        ("gib", 0.6, 0.9),
        ("is", 0.4, 0.5),
        ("loose", 1.0, 99.0),
        ("too", 98.0, 99.0),
    ]
    wild = Passage(tuple(Word(text=t, start=a, end=b) for t, a, b in heard))
    words, _ = judge(speech, wild)
    assert texts(words) == "the gib is loose too"
    assert [word.start for word in words] == sorted(word.start for word in words)
    assert all(0 <= word.start <= word.end <= seconds for word in words)


def test_a_word_that_spans_a_pause_is_cut_to_where_it_is_heard() -> None:
    samples = np.concatenate([spoken("loose"), silence(6), spoken("growls")])
    words, _ = judge(samples, Passage((Word(text="loose", start=0.1, end=5.0),)))
    assert words[0].end < 1.5


# --- odds and ends ------------------------------------------------------------------------------------------


def test_nothing_written_nothing_left_out() -> None:
    assert judge(silence(0)) == ((), ())
    assert judge(silence(3), Passage(())) == ((), ())


def test_without_the_recognisers_own_probabilities() -> None:
    told = judge(silence(9), passage("spindle turret", 2.0, confidence=0.2, log=None, no_speech=None))
    assert [out.why for out in told.left_out] == [NOBODY]


def test_the_digest_changes_with_a_limit() -> None:
    assert guards_digest() == guards_digest(GuardLimits())
    assert guards_digest(GuardLimits(silent=0.16)) != guards_digest()


WRITTEN = st.lists(
    st.tuples(
        st.sampled_from(["gib", "is", "loose.", "no", "thank", "you.", "...", "zero"]),
        st.floats(0, 12), st.floats(0, 3), st.floats(0, 1),
    ),
    max_size=30,
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(
    written=st.lists(st.tuples(WRITTEN, st.floats(-3, 0), st.floats(0, 1)), max_size=4),
    speech=st.lists(st.booleans(), min_size=10, max_size=10),
)
def test_every_word_is_kept_or_left_out_with_a_reason(
    written: list[tuple[list[tuple[str, float, float, float]], float, float]], speech: list[bool]
) -> None:
    levels = np.repeat(np.array(speech, dtype=np.float32), 31)  # a second each
    activity = VoiceActivity(levels, 10 * 31 * FRAME_S)
    passages = [
        Passage(
            tuple(Word(text=t, start=s, end=s + length, confidence=c) for t, s, length, c in words), log, no
        )
        for words, log, no in written
    ]
    told = guarded(passages, activity)
    texts_in = sorted(word.text for passage in passages for word in passage.words)
    texts_out = [word.text for word in told.words] + [w for out in told.left_out for w in out.text.split()]
    assert sorted(texts_out) == texts_in
    assert all(out.why and 0 <= out.start <= out.end <= activity.seconds for out in told.left_out)
    assert all(0 <= word.start <= word.end <= activity.seconds for word in told.words)
    assert [word.start for word in told.words] == sorted(word.start for word in told.words)
    given_confidence = {word.confidence for passage in passages for word in passage.words}
    for word in told.words:
        assert any(word.confidence == pytest.approx(c * f) for c in given_confidence for f in (1.0, 0.5))


@settings(max_examples=150, deadline=None)
@given(levels=st.lists(st.sampled_from([0.0, 0.1, 0.25, 0.4, 0.9]), min_size=1, max_size=60))
def test_stretches_hold_all_speech_and_never_overlap(levels: list[float]) -> None:
    spread = np.repeat(np.array(levels, dtype=np.float32), 31)
    activity = VoiceActivity(spread, spread.size * FRAME_S)
    stretches = speech_stretches(activity)
    edge = 0.0
    for stretch in stretches:
        assert edge <= stretch.start_s < stretch.end_s <= activity.seconds
        assert stretch.end_s - stretch.start_s <= LONGEST_S + 1e-6
        edge = stretch.end_s
    for index, level in enumerate(levels):
        middle = (index + 0.5) * 31 * FRAME_S
        inside = any(stretch.start_s <= middle <= stretch.end_s for stretch in stretches)
        assert inside or level < BEGIN
