"""How well speech is heard, per voice and noise: words, trade terms, checks, and the time it takes.

    python tests/benchmarks/speech.py [--voices slt,rms] [--snr clean,20,10,5] [--sets FILE ...] [--limit N]
                                      [--noise shop|hall] [--seed N] [--engines NAMES] [--json FILE] [--show]
    python tests/benchmarks/speech.py --human [--snr clean,10]

Labelled sentences are spoken by synthetic voices (spoken_voices.py), ten a recording, and put into noise
(workshop_noise.py). Each engine on this machine hears them: the embedded one, Moonshine, and Whisper where a
model is; --engines names some of them.
What is counted: speech_measures.py. Sentences that the language model was made from count neither for WER nor
for TER. `time` is decoding as a share of the recording's length, on one core.

--human hears real people (human_speech.py) with the pack's model and with everyday English alone.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

import jiwer
import numpy as np
from human_speech import human_clips
from speech_measures import Heard, Measures, measure, normalised, one_spelling
from spoken_sets import CLEAN, labelled_sentences, parted, recordings
from spoken_voices import VOICES, absent
from workshop_noise import KINDS, mixed

from voicenotes.errors import EngineError
from voicenotes.speech.choose import ENGINES, best_model_here, choose_engine
from voicenotes.speech.engine import SAMPLE_RATE_HZ, SpeechEngine, SpeechMaterial
from voicenotes.speech.language_model import everyday_english
from voicenotes.vocabulary.labels import LabelledSentence
from voicenotes.vocabulary.load import load_pack
from voicenotes.vocabulary.material import speech_material
from voicenotes.vocabulary.schema import Pack

SETS = Path(__file__).parents[1] / "evaluation"


def main() -> None:
    options = _options()
    pack = load_pack(options.pack)
    material = speech_material(pack)
    rows = _human_rows(options, material) if options.human else _rows(options, pack, material)
    if options.json:
        options.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--pack", default="cnc_lathe")
    parser.add_argument("--voices", type=_names, default=list(VOICES))
    parser.add_argument("--snr", type=_names, default=[CLEAN, "20", "10", "5"])
    parser.add_argument("--engines", type=_names, default=[name for name in ENGINES if name != "auto"])
    parser.add_argument("--noise", choices=KINDS, default=KINDS[0])
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--sets", type=Path, nargs="+", default=[SETS / "four_voices.yaml"])
    parser.add_argument("--limit", type=int, default=40, help="sentences of each set, evenly (40)")
    parser.add_argument("--json", type=Path, help="write the rows there")
    parser.add_argument("--show", action="store_true", help="print each sentence that was misheard")
    parser.add_argument("--human", action="store_true")
    options = parser.parse_args()
    unknown = [name for name in options.voices if name not in VOICES]
    if unknown:
        parser.error(f"no voice {', '.join(unknown)}: there are {', '.join(VOICES)}")
    return options


def _names(text: str) -> list[str]:
    return text.split(",")


def _engines(names: Sequence[str], material: SpeechMaterial) -> list[SpeechEngine]:
    engines: list[SpeechEngine] = []
    for name in names:
        try:
            engines.append(choose_engine(name, material, model=_whisper_model(name))[0])
        except EngineError as error:
            print(f"{name} left out: {error}")
    return engines


def _whisper_model(engine: str) -> str | None:
    return best_model_here() if engine == "whisper" else None


def _rows(options: argparse.Namespace, pack: Pack, material: SpeechMaterial) -> list[dict[str, object]]:
    missing = absent(options.voices)
    if missing:
        print(f"voices left out, not installed: {', '.join(missing)}")
    labels: list[LabelledSentence] = []
    for path in options.sets:
        some, left_out = labelled_sentences(path, options.limit)
        labels += some
        print(f"{path.name}: {len(some)} sentences; {left_out} in digits or several recordings left out")
    fresh = _fresh(labels, material)
    print(f"{fresh.count(False)} sentences that the language model knows count neither for WER nor for TER")
    engines = _engines(options.engines, material)
    for engine in engines:
        engine.transcribe(np.zeros(SAMPLE_RATE_HZ, np.float32))  # compiled and loaded before time is taken
    print(
        f"{'engine':10}{'voice':8}{'noise':6}{'dB':>6}{'WER %':>8}{'TER %':>8}{'F1 %':>8}"
        f"{'of text':>9}{'agree %':>9}{'time':>7}"
    )
    rows = []
    for voice in (name for name in options.voices if VOICES[name].present()):
        for level in options.snr:
            for engine in engines:
                results, share = _heard(engine, labels, voice, level, options)
                found = measure(results, fresh, pack)
                _print_row(engine.name, voice, level, options.noise, found, share)
                if options.show:
                    _print_misheard(results)
                row = {"engine": engine.name, "voice": voice, "noise": options.noise, "snr": level}
                rows.append(row | asdict(found) | {"time": share})
    return rows


def _fresh(labels: Sequence[LabelledSentence], material: SpeechMaterial) -> list[bool]:
    known = {" ".join(normalised(line)) for line in material.sentences}
    known |= {" ".join(normalised(" ".join(words))) for words in everyday_english().sentences}
    return [" ".join(normalised(label.say)) not in known for label in labels]


def _heard(
    engine: SpeechEngine,
    labels: Sequence[LabelledSentence],
    voice: str,
    level: str,
    options: argparse.Namespace,
) -> tuple[list[Heard], float]:
    """What was heard of each sentence, and the time taken as a share of real time."""
    results: list[Heard] = []
    seconds = taken = 0.0
    for recording in recordings(labels, voice, level, options.noise, options.seed):
        started = time.process_time()
        transcript = engine.transcribe(recording.samples)
        taken += time.process_time() - started
        seconds += recording.samples.size / SAMPLE_RATE_HZ
        parts = parted(transcript, recording.starts_s)
        results += [Heard(*pair) for pair in zip(recording.labels, parts, strict=True)]
    return results, taken / seconds


def _print_row(engine: str, voice: str, level: str, noise: str, found: Measures, share: float) -> None:
    kind = "" if level == CLEAN else noise
    shares = (found.wer, found.ter, found.f1, found.f1_of_text, found.agreement)
    wer, ter, f1, of_text, agree = ("-" if one is None else f"{100 * one:.1f}" for one in shares)
    print(
        f"{engine:10}{voice:8}{kind:6}{level:>6}{wer:>8}{ter:>8}{f1:>8}{of_text:>9}{agree:>9}{share:7.3f}",
        flush=True,
    )


def _print_misheard(results: Sequence[Heard]) -> None:
    for one in results:
        said, heard = " ".join(normalised(one.label.say)), " ".join(normalised(one.transcript.text))
        if said != heard:
            print(f"  said  {said}\n  heard {heard}")


def _human_rows(options: argparse.Namespace, material: SpeechMaterial) -> list[dict[str, object]]:
    clips = human_clips()
    if not clips:
        sys.exit(1)
    engines = [
        (model, engine)
        for model, told in (("pack", material), ("everyday", SpeechMaterial()))
        for engine in _engines(options.engines, told)
    ]
    pause = np.zeros(SAMPLE_RATE_HZ // 2, np.float32)
    rows: list[dict[str, object]] = []
    for model, engine in engines:
        for level in options.snr:
            said, heard = [], []
            for number, clip in enumerate(clips):
                samples = np.concatenate([pause, clip.samples, pause])
                if level != CLEAN:
                    samples = mixed(samples, float(level), options.noise, seed=1000 * options.seed + number)
                said.append(normalised(clip.said))
                heard.append(normalised(engine.transcribe(samples).text))
                if options.show:
                    print(f"  said  {' '.join(said[-1])}\n  heard {' '.join(heard[-1])}")
            wer = jiwer.wer(*one_spelling(said, heard))
            words = sum(map(len, said))
            print(
                f"human speech, {engine.name:10}{model:9}{level:>6}  WER {100 * wer:5.1f} %  ({words} words)"
            )
            rows.append({"engine": engine.name, "model": model, "snr": level, "words": words, "wer": wer})
    return rows


if __name__ == "__main__":
    main()
