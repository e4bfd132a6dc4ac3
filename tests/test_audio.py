"""Recordings of every kind become mono samples at 16 kHz, and pauses are found in them."""

from __future__ import annotations

import itertools
import os
import time
import tracemalloc
import wave
from pathlib import Path

import av
import numpy as np
import pytest
from make_audio import (
    RATE,
    keep_part,
    noise,
    set_wav_size,
    speech_like,
    tone,
    wav_bytes,
    write_audio,
    write_picture,
)

from voicenotes.audio.decode import AUDIO_SUFFIXES, decode, decode_blocks, looks_like_audio
from voicenotes.audio.pauses import LOWEST_DBFS, Stretch, cut_at_pauses, is_silent, level_dbfs
from voicenotes.errors import RecordingError

# name, encoder, rate, layout, further settings
FORMATS = [
    ("u8.wav", "pcm_u8", 8_000, "mono", {}),
    ("s16.wav", "pcm_s16le", 44_100, "stereo", {}),
    ("s24.wav", "pcm_s24le", 48_000, "stereo", {}),
    ("s32.wav", "pcm_s32le", 22_050, "mono", {}),
    ("float.wav", "pcm_f32le", 96_000, "5.1", {}),
    ("double.wav", "pcm_f64le", 11_025, "mono", {}),
    ("alaw.wav", "pcm_alaw", 8_000, "mono", {}),
    ("adpcm.wav", "adpcm_ima_wav", 16_000, "mono", {}),
    ("quad.wav", "pcm_s16le", 32_000, "quad", {}),
    ("front.wav", "pcm_s16le", 16_000, "FL+FC", {}),
    ("aac.m4a", "aac", 44_100, "stereo", {}),
    ("surround.m4a", "aac", 48_000, "5.1", {}),
    ("alac.m4a", "alac", 44_100, "mono", {}),
    ("aac.mp4", "aac", 16_000, "mono", {}),
    ("adts.aac", "aac", 24_000, "mono", {"container": "adts"}),
    ("joint.mp3", "libmp3lame", 44_100, "stereo", {}),
    ("low.mp3", "libmp3lame", 8_000, "mono", {}),
    ("opus.ogg", "libopus", 48_000, "mono", {}),
    ("voice.opus", "libopus", 16_000, "mono", {}),
    ("around.ogg", "libopus", 48_000, "ambisonic 1", {}),
    ("vorbis.ogg", "vorbis", 44_100, "stereo", {}),
    ("s16.flac", "flac", 48_000, "stereo", {}),
    ("front.flac", "flac", 16_000, "FL+FC", {}),
    ("high.flac", "flac", 96_000, "5.1", {"sample_format": "s32"}),
    ("nb.amr", "libopencore_amrnb", 8_000, "mono", {}),
    ("nb.3gp", "libopencore_amrnb", 8_000, "mono", {}),
    ("aac.3gp", "aac", 32_000, "mono", {}),
    ("s16.caf", "pcm_s16le", 44_100, "mono", {}),
    ("alac.caf", "alac", 44_100, "stereo", {}),
    ("s16.aiff", "pcm_s16be", 22_050, "stereo", {}),
    ("s24.aif", "pcm_s24be", 48_000, "mono", {"container": "aiff"}),
    ("opus.webm", "libopus", 48_000, "stereo", {}),
    ("flac.mka", "flac", 44_100, "mono", {"container": "matroska"}),
    ("opus.mka", "libopus", 48_000, "mono", {"container": "matroska"}),
    ("old.wma", "wmav2", 44_100, "stereo", {"container": "asf"}),
]


@pytest.mark.parametrize(("name", "codec", "rate", "layout", "more"), FORMATS, ids=[f[0] for f in FORMATS])
def test_every_format_is_decoded(
    tmp_path: Path, name: str, codec: str, rate: int, layout: str, more: dict[str, object]
) -> None:
    path = write_audio(tmp_path / name, codec, rate=rate, layout=layout, **more)  # type: ignore[arg-type]
    decoded = decode(path)
    assert looks_like_audio(path)
    assert decoded.problem is None
    assert decoded.samples.dtype == np.float32
    assert decoded.samples.ndim == 1
    assert decoded.seconds == decoded.samples.size / 16_000
    assert decoded.seconds == pytest.approx(3.0, abs=0.1)
    spectrum = np.abs(np.fft.rfft(decoded.samples * np.hanning(decoded.samples.size)))
    assert np.argmax(spectrum) / decoded.seconds == pytest.approx(440.0, rel=0.01)
    lossless = codec.startswith("pcm") or codec in ("flac", "alac")
    middle = level_dbfs(decoded.samples[RATE : 2 * RATE])
    assert middle == pytest.approx(-9.03, abs=0.1 if lossless else 2.0)  # a sine of peak 0.5


def test_the_end_is_not_lost_in_the_resampler(tmp_path: Path) -> None:
    path = write_audio(tmp_path / "a.wav", "pcm_s16le", rate=44_100, seconds=2.0)
    decoded = decode(path)
    assert decoded.samples.size == pytest.approx(32_000, abs=2)
    assert np.abs(decoded.samples[-100:]).max() > 0.4


def test_wav_samples_at_16_khz_come_through_unchanged(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(wav_bytes(0.5))
    assert np.abs(decode(path).samples - tone(0.5, RATE)).max() < 1 / 16_000


@pytest.mark.parametrize("channels", [1, 2, 3, 8, 9, 10, 16, 24])
def test_any_number_of_channels_is_mixed_to_its_mean(tmp_path: Path, channels: int) -> None:
    loud = np.linspace(0.1, 0.9, channels)
    values = (tone(0.5, RATE)[:, None] * loud * 32_767).astype("<i2")
    with wave.open(str(tmp_path / "a.wav"), "wb") as out:  # the standard library's own writer
        out.setnchannels(channels)
        out.setsampwidth(2)
        out.setframerate(RATE)
        out.writeframes(values.tobytes())
    mixed = decode(tmp_path / "a.wav").samples
    assert np.abs(mixed - values.mean(axis=1) / 32_768).max() < 1e-4


def test_float_samples_out_of_range_and_nan_are_tamed(tmp_path: Path) -> None:
    wild = tone(0.5, RATE, level=3.0)
    wild[4000] = np.nan
    path = write_audio(tmp_path / "a.wav", "pcm_f32le", rate=RATE, samples=wild)
    samples = decode(path).samples
    assert np.isfinite(samples).all()
    assert np.abs(samples).max() == 1.0


def test_blocks_are_the_whole_in_pieces(tmp_path: Path) -> None:
    path = write_audio(tmp_path / "a.flac", "flac", rate=44_100, seconds=5.3)
    blocks = list(decode_blocks(path, block_seconds=2.0))
    assert [block.size for block in blocks[:-1]] == [32_000, 32_000]
    assert np.array_equal(np.concatenate(blocks), decode(path).samples)


def test_blocks_need_little_memory(tmp_path: Path) -> None:
    path = write_audio(tmp_path / "a.wav", "pcm_s16le", rate=RATE, seconds=600.0)
    next(decode_blocks(path))  # loads the library before counting
    tracemalloc.start()
    count = sum(block.size for block in decode_blocks(path, block_seconds=5.0))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert count == 600 * RATE
    assert peak < 3_000_000  # the whole would be 38 MB


def test_names_of_recordings() -> None:
    assert looks_like_audio("Memo 7.M4A")
    assert looks_like_audio(Path("visit/a.opus"))
    assert not looks_like_audio("notes.txt")
    assert not looks_like_audio("._Memo 7.m4a")
    assert not looks_like_audio(".wav")
    assert all(suffix == suffix.lower() and suffix[0] == "." for suffix in AUDIO_SUFFIXES)


TRUNCATED = [
    ("a.wav", "pcm_s16le", {}),
    ("a.m4a", "aac", {"options": {"movflags": "faststart"}}),
    ("a.mp3", "libmp3lame", {}),
    ("a.flac", "flac", {}),
    ("a.caf", "pcm_s16le", {}),
    ("a.aiff", "pcm_s16be", {}),
    ("a.mka", "flac", {"container": "matroska"}),
    ("a.webm", "libopus", {}),
]


@pytest.mark.parametrize(("name", "codec", "more"), TRUNCATED, ids=[f"{t[1]} {t[0]}" for t in TRUNCATED])
def test_a_truncated_file_is_read_as_far_as_it_goes(
    tmp_path: Path, name: str, codec: str, more: dict[str, object]
) -> None:
    path = write_audio(tmp_path / name, codec, rate=48_000, seconds=12.0, **more)  # type: ignore[arg-type]
    assert decode(path).problem is None
    decoded = decode(keep_part(path, 0.5))
    assert 4.0 < decoded.seconds < 7.0
    assert decoded.problem == (
        f"ends early: container says 12.0 s, only {decoded.seconds:.1f} s can be read; "
        "copy it again from the phone or recorder"
    )


@pytest.mark.parametrize(
    ("name", "codec", "rate", "more"),
    [
        ("a.ogg", "libopus", 48_000, {}),
        ("a.ogg", "vorbis", 44_100, {"layout": "stereo"}),
        ("a.amr", "libopencore_amrnb", 8_000, {}),
        ("a.aac", "aac", 16_000, {"container": "adts"}),
    ],
    ids=["opus", "vorbis", "amr", "adts"],
)
def test_a_format_without_a_length_shows_that_it_breaks_off(
    tmp_path: Path, name: str, codec: str, rate: int, more: dict[str, object]
) -> None:
    path = write_audio(tmp_path / name, codec, rate=rate, seconds=12.0, **more)  # type: ignore[arg-type]
    assert decode(path).problem is None
    decoded = decode(keep_part(path, 0.5003))
    assert 3.0 < decoded.seconds < 8.0
    assert decoded.problem is not None
    assert decoded.problem.startswith(f"ends early: it breaks off after {decoded.seconds:.1f} s")


def test_a_damaged_middle_is_reported(tmp_path: Path) -> None:
    path = write_audio(tmp_path / "a.amr", "libopencore_amrnb", rate=8_000, seconds=6.0)
    content = bytearray(path.read_bytes())
    at = 6 + 14 * 100  # about the 100th frame: 14 bytes at 5.15 kbit/s
    content[at : at + 40] = b"\x7c" * 40  # frame type 15 and reserved ones
    path.write_bytes(content)
    decoded = decode(path)
    assert decoded.seconds > 4.0
    assert decoded.problem is not None
    assert "copy it again" in decoded.problem


def test_an_mp3_without_a_length_header_is_not_called_short(tmp_path: Path) -> None:
    path = write_audio(
        tmp_path / "a.mp3", "libmp3lame", rate=44_100, seconds=6.0, options={"write_xing": "0"}
    )
    decoded = decode(path)
    assert decoded.problem is None
    assert decoded.seconds == pytest.approx(6.0, abs=0.1)


@pytest.mark.parametrize("size", [0, 0x7FFFF000, 0xFFFFFFFF])
def test_a_wav_whose_recorder_left_the_size_open_is_read_to_its_end(tmp_path: Path, size: int) -> None:
    path = set_wav_size(write_audio(tmp_path / "a.wav", "pcm_s16le", rate=RATE), size)
    decoded = decode(path)
    assert decoded.problem is None
    assert decoded.seconds == pytest.approx(3.0, abs=0.01)


def refusal(path: Path) -> str:
    """The message with which a recording is refused: one line, naming the file."""
    with pytest.raises(RecordingError) as caught:
        decode(path)
    message = str(caught.value)
    assert message.startswith(f"{path.name}: ")
    assert "\n" not in message
    assert str(path.parent) not in message
    assert "; " in message  # what is wrong; what to do
    return message


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    assert "no such file" in refusal(tmp_path / "gone.wav")


def test_an_empty_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.m4a").touch()
    assert "is empty (0 bytes)" in refusal(tmp_path / "a.m4a")


def test_a_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.wav").mkdir()
    assert "is a folder" in refusal(tmp_path / "a.wav")


def test_a_pipe_is_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.wav")
    assert "not an ordinary file" in refusal(tmp_path / "a.wav")


def test_a_file_without_permission_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(wav_bytes())

    def closed(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", closed)
    assert "no permission to read it" in refusal(path)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="only root can become somebody else")
def test_a_file_of_somebody_else_is_refused(tmp_path: Path) -> None:
    folder = tmp_path
    while not folder.stat().st_mode & 0o001:  # pytest's own folders, closed to others
        folder.chmod(0o711)
        folder = folder.parent
    path = tmp_path / "a.wav"
    path.write_bytes(wav_bytes())
    path.chmod(0o600)
    next(decode_blocks(path))
    os.seteuid(65534)
    try:
        message = refusal(path)
    finally:
        os.seteuid(0)
    assert "no permission to read it" in message


@pytest.mark.parametrize("name", ["a.wav", "a.mp3", "a.m4a", "a.amr"])
def test_text_named_as_audio_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("way covers are fine and the spindle is quiet\n" * 200)
    assert "is not audio" in refusal(tmp_path / name)


def test_a_playlist_is_refused_and_opens_nothing(tmp_path: Path) -> None:
    (tmp_path / "real.wav").write_bytes(wav_bytes())
    (tmp_path / "a.m4a").write_text("ffconcat version 1.0\nfile real.wav\n")
    assert "is a playlist" in refusal(tmp_path / "a.m4a")


def test_a_picture_is_refused(tmp_path: Path) -> None:
    assert "is a picture" in refusal(write_picture(tmp_path / "a.m4a", "image2", "png"))


def test_a_video_without_sound_is_refused(tmp_path: Path) -> None:
    assert "has no sound track" in refusal(write_picture(tmp_path / "a.mp4", "mp4", "mpeg4", frames=10))


def test_an_m4a_without_its_index_is_refused(tmp_path: Path) -> None:
    path = keep_part(write_audio(tmp_path / "a.m4a", "aac", rate=44_100), 0.6)
    assert "breaks off before its index" in refusal(path)


def test_a_header_without_sound_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.wav").write_bytes(wav_bytes(0.0))
    assert "no sound in it can be read" in refusal(tmp_path / "a.wav")


def test_bytes_at_random_are_refused(tmp_path: Path) -> None:
    (tmp_path / "a.mp3").write_bytes(np.random.default_rng(3).bytes(100_000))
    assert "a.mp3: " in refusal(tmp_path / "a.mp3")


def test_files_with_flipped_bytes_are_read_or_refused(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    dice = np.random.default_rng(5)
    for name, codec in [
        ("a.caf", "pcm_s16le"),
        ("a.m4a", "aac"),
        ("a.ogg", "libopus"),
        ("a.aiff", "pcm_s16be"),
    ]:
        path = write_audio(tmp_path / name, codec, rate=48_000, seconds=0.3)
        content = path.read_bytes()
        for _ in range(60):
            broken = bytearray(content)
            for at in dice.integers(0, min(len(broken), 400), size=4):
                broken[at] = dice.integers(0, 256)
            path.write_bytes(broken)
            try:
                assert decode(path).samples.size > 0
            except RecordingError as error:
                assert str(error).startswith(name)
    captured = capfd.readouterr()
    assert captured.err == ""
    assert captured.out == ""


def test_the_decoders_keep_quiet(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    path = write_audio(tmp_path / "a.m4a", "aac", rate=44_100, options={"movflags": "faststart"})
    av.logging.set_level(av.logging.VERBOSE)
    decode(keep_part(path, 0.5))
    assert capfd.readouterr().err == ""


# Pauses


PLACES = [(1.0, 2.2), (3.0, 5.0), (7.0, 7.4), (12.0, 20.0)]
BACKGROUNDS = {
    "digital silence": (0.0, 0.0),
    "hiss": (0.01, 0.0),
    "fan": (0.02, 0.5),
    "shop": (0.03, 0.5),
    "rumble": (0.1, 1.0),
}


@pytest.mark.parametrize("name", BACKGROUNDS)
def test_bursts_are_found_where_they_are(name: str) -> None:
    rms, slope = BACKGROUNDS[name]
    samples = speech_like(PLACES, 25.0) + noise(25.0, rms, slope)
    found = cut_at_pauses(samples, padding_s=0.0)
    assert len(found) == len(PLACES)
    for stretch, (begin, end) in zip(found, PLACES, strict=True):
        assert stretch.start_s == pytest.approx(begin, abs=0.15)
        assert stretch.end_s == pytest.approx(end, abs=0.15)


def test_padding_is_added_and_stays_inside() -> None:
    samples = speech_like([(0.05, 1.0), (1.5, 2.9)], 3.0) + noise(3.0, 0.005, 0.0)
    bare, wide = cut_at_pauses(samples, padding_s=0.0), cut_at_pauses(samples, padding_s=0.5)
    assert len(bare) == len(wide) == 2
    assert wide[0].start_s == 0.0
    assert wide[1].end_s == 3.0
    assert bare[0].end_s < wide[0].end_s <= wide[1].start_s < bare[1].start_s


def test_a_short_gap_is_no_pause() -> None:
    samples = speech_like([(1.0, 2.0), (2.2, 3.0)], 4.0) + noise(4.0, 0.005, 0.5)
    assert len(cut_at_pauses(samples)) == 1
    assert len(cut_at_pauses(samples, min_pause_s=0.1)) == 2


def test_a_click_is_no_speech() -> None:
    samples = noise(10.0, 0.003, 0.5)
    samples[5 * RATE : 5 * RATE + 16] += 0.3
    assert cut_at_pauses(samples, min_speech_s=0.15) == []


@pytest.mark.parametrize("slope", [0.0, 0.25, 0.5, 0.75, 1.0])
def test_steady_noise_holds_no_speech(slope: float) -> None:
    for seed in range(4):
        for rms in (0.001, 0.1):
            assert cut_at_pauses(noise(3.0 + 9 * seed, rms, slope, seed)) == []


def test_mains_hum_holds_no_speech() -> None:
    hum = sum(tone(20.0, RATE, 50.0 * k, 0.1 / k) for k in range(1, 12)) + noise(20.0, 0.002, 0.5)
    assert cut_at_pauses(hum) == []
    found = cut_at_pauses(hum + speech_like([(4.0, 6.0)], 20.0), padding_s=0.0)
    assert [(round(s.start_s, 1), round(s.end_s, 1)) for s in found] == [(4.0, 6.0)]


def test_noise_after_a_muted_start_holds_no_speech() -> None:
    samples = noise(20.0, 0.02, 0.5)
    samples[: 8 * RATE] = 0.0
    assert cut_at_pauses(samples) == []


def test_a_machine_switched_on_is_soon_part_of_the_background() -> None:
    samples = noise(90.0, 0.01, 0.5)
    samples[45 * RATE :] *= 6
    samples += speech_like([(10.0, 12.0), (80.0, 82.0)], 90.0)
    found = cut_at_pauses(samples)
    assert any(s.start_s < 10.1 and 11.9 < s.end_s < 12.6 for s in found)
    assert any(79.4 < s.start_s < 80.1 and 81.9 < s.end_s < 82.6 for s in found)
    assert sum(s.end_s - s.start_s for s in found) < 20.0


def test_gated_sound_between_digital_silence_is_kept() -> None:
    samples = np.zeros(6 * RATE, dtype=np.float32)
    samples[RATE : 2 * RATE] = tone(1.0, RATE)
    samples[4 * RATE : 5 * RATE] = tone(1.0, RATE)
    assert len(cut_at_pauses(samples)) == 2


def test_long_speech_is_cut_at_the_quietest_moment() -> None:
    samples = speech_like([(1.0, 61.0)], 62.0)
    samples[20 * RATE : 20 * RATE + RATE // 5] *= 0.02  # a short breath at 20 s
    samples += noise(62.0, 0.001, 0.5)
    found = cut_at_pauses(samples, max_stretch_s=25.0)
    assert all(s.end_s - s.start_s <= 25.0 for s in found)
    assert found[0].end_s == pytest.approx(20.1, abs=0.12)
    assert all(a.end_s == b.start_s for a, b in itertools.pairwise(found))
    assert found[-1].end_s == pytest.approx(61.0, abs=0.3)


@pytest.mark.parametrize("count", [0, 1, 159, 160, 161, 5000])
def test_tiny_and_constant_arrays_give_nothing(count: int) -> None:
    assert cut_at_pauses(np.zeros(count, dtype=np.float32)) == []
    assert cut_at_pauses(np.full(count, 0.3, dtype=np.float32)) == []


def test_two_hours_take_seconds_of_a_processor() -> None:
    part = speech_like(PLACES, 25.0) + noise(25.0, 0.02, 0.5)
    samples = np.tile(part, 288)
    begin = time.process_time()
    found = cut_at_pauses(samples)
    assert time.process_time() - begin < 10.0  # of this process alone: a busy machine doesn't lengthen it
    assert len(found) == 288 * len(PLACES)


def test_levels() -> None:
    assert level_dbfs(np.ones(100, dtype=np.float32)) == 0.0
    assert level_dbfs(tone(1.0, RATE, level=1.0)) == pytest.approx(-3.01, abs=0.01)  # a full-scale sine
    assert level_dbfs(np.full(100, 0.1, dtype=np.float32)) == pytest.approx(-20.0, abs=1e-4)
    assert level_dbfs(np.zeros(100, dtype=np.float32)) == LOWEST_DBFS
    assert level_dbfs(np.zeros(0, dtype=np.float32)) == LOWEST_DBFS


def test_silence() -> None:
    assert is_silent(np.zeros(RATE, dtype=np.float32))
    assert is_silent(np.zeros(0, dtype=np.float32))
    assert is_silent(noise(2.0, 0.0002, 0.0))
    assert not is_silent(speech_like([(30.0, 30.3)], 60.0, level=0.05))


def test_a_stretch_is_a_value() -> None:
    assert Stretch(1.0, 2.0) == Stretch(1.0, 2.0)
    with pytest.raises(AttributeError):
        Stretch(1.0, 2.0).start_s = 3.0  # type: ignore[misc]
