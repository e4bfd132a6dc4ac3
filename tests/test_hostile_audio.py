"""Recordings that claim what can't be, expand without end or are something else: a line each, little work."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import hostile_files as make
import numpy as np
import pytest
from make_audio import RATE, tone, wav_bytes, write_audio, write_picture

from voicenotes.audio import decode as decoding
from voicenotes.audio import opening
from voicenotes.audio.container import read_label
from voicenotes.audio.decode import decode, decode_blocks
from voicenotes.audio.mp4_boxes import MOST_SAMPLES, mp4_claims
from voicenotes.errors import RecordingError
from voicenotes.visit import process_visit

FLOATS = np.array([np.nan, np.inf, -np.inf, 3e38, 3e38, 0.5] * 4000)


def made(folder: Path, name: str, content: bytes) -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


def outcome(path: Path) -> str:
    """The refusal, or the problem, as the one line that a person reads; "" when all is well."""
    try:
        line = decode(path).problem or ""
    except RecordingError as error:
        line = str(error).removeprefix(f"{path.name}: ")
        assert line != str(error)
    assert "\n" not in line
    read_label(path)  # never raises
    return line


# --- absurd claims ----------------------------------------------------------------------------------

CLAIMS: list[tuple[str, str, Callable[[], bytes], str]] = [
    ("0 Hz", "a.wav", lambda: make.wav(rate=0), "is not audio"),
    ("1 Hz", "a.wav", lambda: make.wav(rate=1), "claims a sample rate of 1 Hz"),
    ("10 million Hz", "a.wav", lambda: make.wav(rate=10_000_000), "claims a sample rate of 10000000 Hz"),
    ("1 Hz in FLAC", "a.flac", lambda: make.flac_silence(200_000, rate=1), "sample rate of 1 Hz"),
    ("1 Hz in Matroska", "a.mka", lambda: make.matroska([bytes(3200)], rate=1.0), "sample rate of 1 Hz"),
    ("no channels", "a.wav", lambda: make.wav(channels=0), "no sound in it"),
    ("64 channels", "a.wav", lambda: make.wav(channels=64), "claims 64 channels"),
    ("1000 channels", "a.wav", lambda: make.wav(channels=1000), "no sound in it"),
    ("65,535 channels", "a.wav", lambda: make.wav(channels=65_535), "no sound in it"),
    ("65,535 channels in MP4", "a.m4a", lambda: make.mp4(channels=65_535), "no sound in it"),
    ("100,000 channels", "a.mka", lambda: make.matroska([bytes(3200)], channels=100_000), "no sound in it"),
    ("2 GB in 16 kB", "a.wav", lambda: make.wav(claims=0x7FFE0000), "ends early: container says 67104.8 s"),
    ("74 hours", "a.wav", lambda: make.wav(b"\0" * 800, rate=8000, claims=0x7FFE0000), "longer than 24 h"),
    ("4 GB, as an open size", "a.wav", lambda: make.wav(claims=0xFFFFFFF0), ""),
    ("no bytes a frame", "a.wav", lambda: make.wav(block=0), ""),
    ("a length of 1e300", "a.mka", lambda: make.matroska([bytes(3200)], duration=1e300), ""),
    ("a length that is no number", "a.mka", lambda: make.matroska([bytes(3200)], duration=np.nan), ""),
    ("sizes left open", "a.mka", lambda: make.matroska([bytes(3200)], unknown=True), ""),
    ("170 million samples", "a.m4a", lambda: make.mp4(samples=170_000_000), "pieces of sound than a day"),
    ("a packed index", "a.m4a", lambda: make.mp4(more=make.box(b"cmov", bytes(40))), "compressed index"),
    ("a million cuts", "a.m4a", lambda: make.mp4(edits=make.edit_list(1_000_000, 9)), "1000000 cuts"),
    (
        "80 million samples in a fragment",
        "a.m4a",
        lambda: make.mp4(samples=0, more=make.TRACK_EXTENDS, fragments=make.fragment(80_000_000)),
        "more pieces of sound than a day",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("name", "build", "says"), [c[1:] for c in CLAIMS], ids=[c[0] for c in CLAIMS])
def test_an_absurd_claim_is_named_or_not_believed(
    tmp_path: Path, name: str, build: Callable[[], bytes], says: str
) -> None:
    line = outcome(made(tmp_path, name, build()))
    assert says in line
    assert bool(says) == bool(line)


def test_mp4_tables_are_counted_as_they_stand(tmp_path: Path) -> None:
    """FFmpeg's own writer: three seconds of AAC at 16 kHz are 47 frames of 1024, and one of delay."""
    path = write_audio(tmp_path / "a.m4a", "aac", rate=RATE)
    with path.open("rb") as file:
        claims = mp4_claims(file)
    assert claims.samples in (47, 48)
    assert not claims.encrypted
    assert claims.edits <= 2


def test_uncompressed_sound_of_many_samples_is_no_absurd_claim(tmp_path: Path) -> None:
    """Each sample of PCM in MP4 lasts a tick and needs no entry of its own: 3 h of it are no bomb."""
    path = made(tmp_path, "a.m4a", make.mp4(samples=MOST_SAMPLES * 17, sample_bytes=2, ticks=1))
    with path.open("rb") as file:
        assert mp4_claims(file).samples == 0


# --- expansion ----------------------------------------------------------------------------------------

BOMBS: dict[str, Callable[[], bytes]] = {
    "30 hours of silence.flac": lambda: make.flac_silence(30 * 3600),
    "two hours of silence.opus": lambda: make.opus_silence(7200),
    "two thousand streams.ogg": lambda: make.chained_opus(2000),
    "one hertz.flac": lambda: make.flac_silence(200_000, rate=1),
    "ten hertz.flac": lambda: make.flac_silence(20_000, rate=10),
    "samples.m4a": lambda: make.mp4(samples=20_000_000, sample_bytes=1),
    "fragment.m4a": lambda: make.mp4(samples=0, more=make.TRACK_EXTENDS, fragments=make.fragment(80_000_000)),
    "cuts.m4a": lambda: make.mp4(edits=make.edit_list(300_000, 0x7FFFFFFF)),
    "huge frames.m4a": make.alac_bomb,
    "zipped blocks.mka": lambda: make.matroska([make.zipped_block()] * 10, zipped=True),
    "low rate.mka": lambda: make.matroska([bytes(3200)] * 10, rate=1.0),
    "nothing again and again.mka": lambda: make.matroska([b""] * 150_000),
    "zipped pictures.mp3": lambda: make.id3_bomb(20, 50_000_000, b"\xff\xfb\x90\x00" + bytes(413)),
}
IN_A_CAGE = """
import json, re, resource, sys
from pathlib import Path
from voicenotes.audio.decode import decode_blocks
from voicenotes.errors import RecordingError
def peak():  # in kB, of this program alone: ru_maxrss would count the parent's too
    return int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
resource.setrlimit(resource.RLIMIT_AS, (3 << 30, 3 << 30))
resource.setrlimit(resource.RLIMIT_CPU, (120, 120))
for path in sys.argv[1:]:
    blocks, seconds = decode_blocks(path), 0.0
    try:
        while True:
            seconds += next(blocks).size / 16000
    except StopIteration as end:
        line = end.value
    except RecordingError as error:
        line = str(error)
    print(json.dumps([seconds, line, peak()]), flush=True)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="memory is read as Linux tells it")
def test_small_files_that_expand_stay_within_memory_and_work(tmp_path: Path) -> None:
    """All bombs in turn, in one process that may use 120 s of a processor and 3 GB of addresses."""
    paths = [made(tmp_path, name, build()) for name, build in BOMBS.items()]
    assert all(path.stat().st_size < 5_000_000 for path in paths)
    run = subprocess.run([sys.executable, "-c", IN_A_CAGE, *map(str, paths)], capture_output=True, text=True)
    assert run.stderr == ""
    said = dict(zip(BOMBS, [json.loads(line) for line in run.stdout.splitlines()], strict=True))
    assert said["30 hours of silence.flac"][:2] == [
        24 * 3600.0,
        "is longer than 24 h: only the first 24 h were read; cut it into shorter recordings",
    ]
    assert said["two hours of silence.opus"][:2] == [pytest.approx(7200.0, abs=0.1), None]  # genuine silence
    assert said["two thousand streams.ogg"][:2] == [pytest.approx(480.0, abs=0.1), None]
    assert all(line for name, (_, line, _) in said.items() if not name.startswith("two"))
    assert max(peak for _, _, peak in said.values()) < 400_000  # kB


def test_silent_packets_without_end_are_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = made(tmp_path, "a.mka", make.matroska([bytes(3200), *[b"\0"] * 300]))
    assert outcome(path).startswith("300 damaged pieces were left out, 0.1 s can be read; ")
    monkeypatch.setattr(decoding, "MOST_SILENT_PACKETS", 100)
    assert outcome(path).startswith("goes on without any sound after 0.1 s, so the rest was left; ")


def test_reading_in_circles_ends(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "READ_AGAIN_FACTOR", 0)
    monkeypatch.setattr(opening, "READ_AGAIN_BYTES", 200_000)
    path = made(tmp_path, "a.wav", make.wav(bytes(400_000)))
    assert outcome(path).startswith("ends early: container says 12.5 s, only ")


# --- sound that changes or is not a number ---------------------------------------------------------------


@pytest.mark.parametrize("bits", [32, 64])
@pytest.mark.parametrize("rate", [16_000, 48_000])
@pytest.mark.parametrize("channels", [1, 2])
def test_floating_point_sound_of_no_numbers_is_tamed(
    tmp_path: Path, bits: int, rate: int, channels: int
) -> None:
    body = FLOATS.astype(f"<f{bits // 8}").tobytes()
    path = made(tmp_path, "a.wav", make.wav(body, bits=bits, coding=3, rate=rate, channels=channels))
    samples = decode(path).samples
    assert samples.size
    assert np.isfinite(samples).all()
    assert np.abs(samples).max() <= 1.0


def test_rate_and_channels_may_change_in_mid_file(tmp_path: Path) -> None:
    parts = [
        write_audio(tmp_path / f"{rate}.aac", "aac", rate=rate, layout=layout, container="adts", seconds=1.0)
        for rate, layout in ((16_000, "mono"), (44_100, "stereo"), (48_000, "5.1"))
    ]
    path = made(tmp_path, "a.aac", b"".join(part.read_bytes() for part in parts))
    decoded = decode(path)
    assert decoded.seconds == pytest.approx(3.0, abs=0.3)
    spectrum = np.abs(np.fft.rfft(decoded.samples * np.hanning(decoded.samples.size)))
    assert np.argmax(spectrum) / decoded.seconds == pytest.approx(440.0, rel=0.01)


def test_changes_without_end_are_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    parts = [
        write_audio(tmp_path / f"{rate}.aac", "aac", rate=rate, container="adts", seconds=0.2).read_bytes()
        for rate in (16_000, 24_000)
    ]
    path = made(tmp_path, "a.aac", b"".join(parts * 5))
    assert outcome(path) == ""
    monkeypatch.setattr(decoding, "MOST_CHANGES", 4)
    assert outcome(path).startswith("changes its rate or channels again and again after ")


def test_streams_in_a_chain_are_all_read(tmp_path: Path) -> None:
    chain = b"".join(make.opus_stream([b"\xfb\x06"] * 10, serial) for serial in range(9))
    path = made(tmp_path, "a.ogg", chain)
    assert outcome(path) == ""
    assert decode(path).seconds == pytest.approx(9 * 1.2, abs=0.05)


def test_a_chain_that_changes_its_channels_is_read_to_the_change_and_says_so(tmp_path: Path) -> None:
    chain = b"".join(make.opus_stream([b"\xfb\x06"] * 10, n, channels=1 + n % 2) for n in range(4))
    assert outcome(made(tmp_path, "a.ogg", chain)).startswith("ends early: it breaks off after 1.2 s; ")


# --- something else ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["a.m4a", "a.mp3", "a.wav"])
@pytest.mark.parametrize("kind", sorted(make.disguises()))
def test_what_is_no_recording_is_refused_in_one_line(tmp_path: Path, kind: str, name: str) -> None:
    (tmp_path / "real.wav").write_bytes(wav_bytes())
    line = outcome(made(tmp_path, name, make.disguises()[kind]))
    assert "whatever its name says; " in line or line.startswith("no sound in it can be read; ")
    words = {
        "zip": "ZIP archive", "gzip": "gzip archive", "tar": "tar archive", "7z": "7z archive",
        "pdf": "PDF document", "html": "web page", "m3u8": "playlist", "concat": "playlist",
        "sdp": "playlist",
        "elf": "program", "exe": "program", "script": "program", "png": "picture", "jpeg": "picture",
    }  # fmt: skip
    assert words.get(kind, "") in line


def test_encrypted_sound_is_called_that(tmp_path: Path) -> None:
    for name, content in {
        "a.m4a": make.mp4(entry=b"enca"),
        "b.m4a": make.mp4(entry=b"drms"),
        "c.mka": make.matroska([bytes(3200)] * 10, encrypted=True),
        "d.wma": bytes.fromhex("3026b2758e66cf11a6d900aa0062ce6c") + bytes(30)
        + bytes.fromhex("fbb3112223bdd211b4b700a0c955fc6e") + bytes(200),
    }.items():  # fmt: skip
        assert "is encrypted (copy-protected)" in outcome(made(tmp_path, name, content))


def test_unencrypted_sound_of_the_same_build_is_not(tmp_path: Path) -> None:
    assert outcome(made(tmp_path, "a.mka", make.matroska([bytes(3200)] * 10))) == ""
    assert "encrypted" not in outcome(made(tmp_path, "a.m4a", make.mp4()))


def test_a_film_without_sound_and_a_coding_of_no_recorder_are_refused(tmp_path: Path) -> None:
    film = write_picture(tmp_path / "a.mp4", "mp4", "mpeg4", frames=10)
    assert "has no sound track in it" in outcome(film)
    rare = write_audio(tmp_path / "a.mka", "tta", rate=RATE, container="matroska")
    assert "is in a coding not known here" in outcome(rare)


def test_a_picture_attached_to_sound_does_no_harm(tmp_path: Path) -> None:
    sound = write_audio(tmp_path / "plain.mp3", "libmp3lame", rate=RATE)
    picture = write_picture(tmp_path / "a.png", "image2", "png").read_bytes()
    body = b"\0image/png\0\x03\0" + picture
    frame = b"APIC" + len(body).to_bytes(4, "big") + b"\0\0" + body
    size = bytes(len(frame) >> shift & 0x7F for shift in (21, 14, 7, 0))
    path = made(tmp_path, "a.mp3", b"ID3\x03\0\0" + size + frame + sound.read_bytes())
    assert decode(path).problem is None
    assert decode(path).seconds == decode(sound).seconds


def test_bad_recordings_cost_the_others_nothing(tmp_path: Path, pack: Path) -> None:
    """A whole visit of disguises and bombs, and one transcript: the record names each, and reads the one."""
    visit = tmp_path / "visit"
    visit.mkdir()
    for kind, content in make.disguises().items():
        made(visit, f"{kind}.m4a", content)
    made(visit, "bomb.flac", make.flac_silence(200_000, rate=1))
    made(visit, "claims.wav", make.wav(rate=10_000_000))
    made(visit, "said.txt", b"The turret growls.")
    record = process_visit(visit, pack, "embedded")
    problems = {entry.file: entry.problem for entry in record.recordings}
    assert problems.pop("said.txt") is None
    assert all(problems.values())
    assert len(problems) == len(make.disguises()) + 2
    assert [entry.words for entry in record.recordings if entry.file == "said.txt"] == [3]


def test_a_day_is_read_in_blocks_of_the_asked_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decoding, "LONGEST_SECONDS", 2.0)
    path = write_audio(tmp_path / "a.wav", "pcm_s16le", rate=RATE, samples=tone(5.0, RATE))
    assert [block.size for block in decode_blocks(path, 1.0)] == [RATE, RATE]
