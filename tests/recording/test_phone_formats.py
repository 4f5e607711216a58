"""Files of phones and cameras: what is decoded is held against what was encoded, by PyAV."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
import soundfile
from phone_files import ENCODABLE, FORMATS, Format, encode

from analyzer.errors import RecordingError
from analyzer.recording import apart
from analyzer.recording.formats import CONTAINERS
from analyzer.recording.reading import open_recording

RATE_HZ = 48000
TONE_HZ, LEVEL = 440.0, 0.25
SECONDS = 2.0
T = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
TONE = LEVEL * np.sin(2 * np.pi * TONE_HZ * T)
M4A = FORMATS[0]


def line_hz(samples, rate_hz: int) -> float:
    """The frequency of a tone by its phase at two places, which no window or grid biases."""
    size = rate_hz // 2
    starts = (rate_hz // 2, rate_hz // 2 + round(rate_hz / 10))
    carrier = np.exp(-2j * np.pi * TONE_HZ * np.arange(samples.size) / rate_hz) * samples
    window = np.hanning(size)
    first, second = (np.sum(carrier[s : s + size] * window) for s in starts)
    return TONE_HZ + float(np.angle(second / first)) / (
        2 * np.pi * (starts[1] - starts[0]) / rate_hz
    )


@pytest.mark.parametrize("form", FORMATS, ids=lambda form: f"{form.file}-{form.codec}")
def test_pitch_length_and_level_come_through(tmp_path, form) -> None:
    if form not in ENCODABLE:
        pytest.skip(f"this build of PyAV cannot encode {form.codec}")
    path = encode(tmp_path / form.file, TONE, RATE_HZ, form)
    found = open_recording(path)
    assert found.rate_hz == form.rate_hz
    assert found.levels.shape[0] * found.step_s == pytest.approx(SECONDS, abs=0.1)
    samples = found.excerpt(0.0, SECONDS, 0)
    cents = 1200 * np.log2(line_hz(samples, found.rate_hz) / TONE_HZ)
    assert abs(cents) < (0.3 if "amr" in form.codec else 0.02)
    changed = 0.3 if "amr" in form.codec else 0.1  # AMR is made for speech and damps tones
    assert np.median(found.levels) == pytest.approx(LEVEL / np.sqrt(2), rel=changed)
    assert not found.cut_short


@pytest.mark.parametrize("form", [each for each in FORMATS if each.lossless], ids=lambda f: f.file)
def test_lossless_is_sample_for_sample(tmp_path, form) -> None:
    wav = tmp_path / "tone.wav"
    steps = np.round(TONE[:44100] * 32767) / 32768
    soundfile.write(wav, steps, form.rate_hz, subtype="PCM_16")
    same = form._replace(rate_hz=RATE_HZ)
    path = encode(tmp_path / form.file, steps, RATE_HZ, same)
    ours, theirs = (open_recording(each).excerpt(0.1, 0.8, 0)[:30_000] for each in (path, wav))
    start = round(0.1 * RATE_HZ) - round(0.1 * form.rate_hz)
    np.testing.assert_allclose(ours[: 30_000 - start], theirs[start:30_000], atol=1.01 / 32768)


def test_sound_of_a_video(tmp_path) -> None:
    path = encode(tmp_path / "clip.mp4", TONE, RATE_HZ, M4A._replace(container="mp4"), video=True)
    found = open_recording(path)
    assert found.levels.shape[0] * found.step_s == pytest.approx(SECONDS, abs=0.1)


def test_content_counts_and_not_the_ending(tmp_path) -> None:
    path = encode(tmp_path / "renamed.wav", TONE, RATE_HZ, M4A)
    assert open_recording(path).rate_hz == M4A.rate_hz
    soundfile.write(tmp_path / "tone.flac", TONE, RATE_HZ)
    renamed = (tmp_path / "tone.flac").rename(tmp_path / "tone.m4a")
    assert open_recording(renamed).rate_hz == RATE_HZ


@pytest.mark.fault("a phone file that breaks off")
def test_file_that_breaks_off(tmp_path) -> None:
    path = encode(tmp_path / "note.aac", TONE, RATE_HZ, FORMATS[9])
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    found = open_recording(path)
    assert found.levels.shape[0] * found.step_s == pytest.approx(SECONDS / 2, rel=0.3)
    assert found.cut_short
    header_at_the_end = encode(tmp_path / "note.m4a", TONE, RATE_HZ, M4A)
    content = header_at_the_end.read_bytes()
    header_at_the_end.write_bytes(content[: len(content) // 2])
    with pytest.raises(RecordingError, match="cannot be read as sound"):
        open_recording(header_at_the_end)


@pytest.mark.fault("a video without sound")
def test_picture_without_sound(tmp_path) -> None:
    import av
    from phone_files import _add_picture

    path = tmp_path / "silent.mp4"
    with av.open(str(path), "w", format="mp4") as container:
        _add_picture(container)
    with pytest.raises(RecordingError, match=r"holds no sound\. Send the recording, not the pic"):
        open_recording(path)


@pytest.mark.parametrize("ending", sorted(CONTAINERS))
@pytest.mark.fault("garbage under the ending of every format")
def test_garbage_under_every_ending(tmp_path, ending) -> None:
    path = tmp_path / f"note{ending}"
    path.write_bytes(np.random.default_rng(3).bytes(2000))
    with pytest.raises(RecordingError, match="cannot be read as sound"):
        open_recording(path)


@pytest.mark.fault("the reader of phone files is not installed")
def test_missing_reader_is_named_with_its_extra(tmp_path, monkeypatch) -> None:
    path = encode(tmp_path / "note.m4a", TONE, RATE_HZ, M4A)
    monkeypatch.setattr(apart, "find_spec", lambda _: None)
    with pytest.raises(RecordingError, match=r"pip install 'pluckcheck\[phone\]'"):
        open_recording(path)


@pytest.mark.fault("PyAV cannot be imported")
def test_without_the_extra_all_else_works(tmp_path) -> None:
    """In a process in which PyAV cannot be imported."""
    path = tmp_path / "tone.wav"
    soundfile.write(path, TONE, RATE_HZ)
    code = (
        "import sys; sys.modules['av'] = None\n"
        "from pathlib import Path; from analyzer.recording.reading import open_recording\n"
        "print(open_recording(Path(sys.argv[1])).rate_hz)"
    )
    done = subprocess.run([sys.executable, "-c", code, path], capture_output=True, check=False)
    assert (done.stdout.strip(), done.stderr) == (str(RATE_HZ).encode(), b"")


def test_any_number_of_channels(tmp_path) -> None:
    for channels in (1, 2, 5, 16):
        path = tmp_path / f"{channels}.wav"
        soundfile.write(path, np.repeat(TONE[:, None], channels, axis=1), RATE_HZ)
        found = open_recording(path)
        assert found.levels.shape[1] == channels
        assert found.excerpt(0.5, 1.0, channels - 1).shape == (RATE_HZ // 2,)


KINDS = [
    ("wav", "PCM_U8"), ("wav", "PCM_16"), ("wav", "PCM_24"), ("wav", "PCM_32"), ("wav", "FLOAT"),
    ("wav", "DOUBLE"), ("wav", "ULAW"), ("wav", "ALAW"), ("wav", "IMA_ADPCM"), ("wav", "MS_ADPCM"),
    ("wav", "GSM610"), ("wav", "G721_32"), ("aiff", "PCM_24"), ("aiff", "FLOAT"), ("w64", "PCM_16"),
    ("rf64", "PCM_16"), ("caf", "ALAC_16"), ("au", "G721_32"), ("flac", "PCM_24"),
    ("ogg", "VORBIS"), ("ogg", "OPUS"), ("mp3", "MPEG_LAYER_III"),
]  # fmt: skip


@pytest.mark.parametrize(("ending", "coding"), KINDS)
def test_all_that_libsndfile_reads(tmp_path, ending, coding) -> None:
    """Also what can only be read from its start to its end."""
    path = tmp_path / f"tone.{ending}"
    rate_hz = 8000 if coding in ("GSM610", "G721_32") else RATE_HZ
    tone = TONE[: 2 * rate_hz] if rate_hz == RATE_HZ else TONE[::6]
    soundfile.write(path, tone, rate_hz, subtype=coding)
    found = open_recording(path)
    assert found.rate_hz == rate_hz
    samples = found.excerpt(0.0, SECONDS, 0)
    cents = 1200 * np.log2(line_hz(samples, rate_hz) / TONE_HZ)
    assert abs(cents) < 0.3
    assert np.median(found.levels) == pytest.approx(LEVEL / np.sqrt(2), rel=0.1)


def test_every_format_has_a_test_of_its_own() -> None:
    endings = {f".{form.file.rpartition('.')[2]}" for form in FORMATS}
    same_boxes = {".m4v", ".3g2", ".mka", ".wma"}  # as mp4, 3gp, mkv; no encoder of the last
    assert endings | same_boxes >= CONTAINERS
    assert isinstance(FORMATS[0], Format)
