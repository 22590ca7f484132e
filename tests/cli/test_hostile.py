"""Hostile inputs: exit code 2 or 3 with one line that names the file and the way out, or a right result."""

from __future__ import annotations

import io
import os
import struct
import subprocess
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from sibilant_cli.main import run

Make = Callable[[Path, np.random.Generator], list[str]]
CASES: dict[str, Make] = {}


def case(make: Make) -> Make:
    """Register one way of being hostile; it returns the arguments of the command."""
    CASES[make.__name__] = make
    return make


def noise(rng: np.random.Generator, seconds: float, rate: int, channels: int = 1) -> np.ndarray:
    """Quiet noise with one loud stretch."""
    samples = rng.normal(0, 0.001, (int(seconds * rate), channels))
    first = len(samples) // 3
    samples[first : 2 * first] += rng.normal(0, 0.1, (first, 1))
    return samples.clip(-1, 1)


def wav(folder: Path, rng: np.random.Generator, name: str = "probe.wav", rate: int = 44100, **options: object) -> Path:
    """Write a small honest recording."""
    path = folder / name
    channels = int(options.pop("channels", 1))  # type: ignore[call-overload]
    sf.write(path, noise(rng, 0.8, rate, channels), rate, **options)
    return path


@case
def empty_file(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "empty.wav"
    path.write_bytes(b"")
    return ["measure", str(path), "--say", "seal"]


@case
def text_named_wav(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "letter.wav"
    path.write_text("seal, sand, sun\n" * int(rng.integers(1, 500)))
    return ["measure", str(path), "--say", "seal"]


@case
def truncated_header(folder: Path, rng: np.random.Generator) -> list[str]:
    path = wav(folder, rng)
    path.write_bytes(path.read_bytes()[: int(rng.integers(1, 44))])
    return ["measure", str(path), "--say", "seal"]


@case
def truncated_body(folder: Path, rng: np.random.Generator) -> list[str]:
    path = wav(folder, rng)
    content = path.read_bytes()
    path.write_bytes(content[: int(rng.integers(45, len(content)))])
    return ["measure", str(path), "--say", "seal"]


@case
def damaged_bytes(folder: Path, rng: np.random.Generator) -> list[str]:
    path = wav(folder, rng, name="probe.flac")
    content = bytearray(path.read_bytes())
    for place in rng.integers(0, len(content), 20):
        content[place] = int(rng.integers(0, 256))
    path.write_bytes(bytes(content))
    return ["measure", str(path), "--say", "seal"]


@case
def random_bytes(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / f"noise.{rng.choice(['wav', 'flac', 'ogg', 'mp3', 'aiff', 'm4a', 'xyz'])}"
    path.write_bytes(rng.bytes(int(rng.integers(1, 5000))))
    return ["measure", str(path), "--say", "seal"]


@case
def boasting_header(folder: Path, rng: np.random.Generator) -> list[str]:
    path = wav(folder, rng)
    content = bytearray(path.read_bytes())
    field = int(rng.choice([4, 24, 28, 32, 40]))
    content[field : field + 4] = struct.pack("<I", int(rng.choice([0, 1, 0x7FFFFFFF, 0xFFFFFFFF])))
    path.write_bytes(bytes(content))
    return ["measure", str(path), "--say", "seal"]


@case
def not_numbers(folder: Path, rng: np.random.Generator) -> list[str]:
    samples = noise(rng, 0.5, 44100)
    samples[int(rng.integers(0, len(samples)))] = rng.choice([np.nan, np.inf, -np.inf])
    path = folder / "float.wav"
    sf.write(path, samples, 44100, subtype="FLOAT")
    return ["measure", str(path), "--say", "seal"]


@case
def huge_numbers(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "loud.wav"
    sf.write(path, noise(rng, 0.5, 44100) * 1e30, 44100, subtype="FLOAT")
    return ["measure", str(path), "--say", "seal"]


@case
def one_sample(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "one.wav"
    sf.write(path, np.zeros(int(rng.integers(1, 5))), 44100)
    return ["measure", str(path), "--say", "seal"]


@case
def no_sample(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "none.wav"
    sf.write(path, np.zeros(0), 44100)
    return ["check", str(path)]


@case
def eight_bit(folder: Path, rng: np.random.Generator) -> list[str]:
    return ["measure", str(wav(folder, rng, subtype="PCM_U8")), "--say", "seal"]


@case
def odd_rate(folder: Path, rng: np.random.Generator) -> list[str]:
    rate = int(rng.choice([1, 100, 4000, 8000, 11025, 16000, 22050, 96000, 192000, 384000]))
    return ["measure", str(wav(folder, rng, rate=rate)), "--say", "seal"]


@case
def many_channels(folder: Path, rng: np.random.Generator) -> list[str]:
    return ["measure", str(wav(folder, rng, channels=12)), "--say", "seal"]


@case
def channel_not_there(folder: Path, rng: np.random.Generator) -> list[str]:
    return ["measure", str(wav(folder, rng)), "--say", "seal", "--channel", str(rng.choice([0, 2, 99, -1]))]


@case
def list_without_column(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "list.csv"
    path.write_text("wort,phones\nseal,\n")
    return ["measure", str(wav(folder, rng)), "--words", str(path)]


@case
def list_in_another_code(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "list.csv"
    path.write_bytes("word,phones\nseal,/siːl/\n".encode(str(rng.choice(["utf-16", "utf-32"]))))
    return ["measure", str(wav(folder, rng)), "--words", str(path)]


@case
def list_with_semicolons(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "list.csv"
    path.write_text("word;target\nseal;s\n", encoding="utf-8")
    return ["measure", str(wav(folder, rng)), "--words", str(path)]


@case
def list_of_ten_thousand(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "list.csv"
    path.write_text("word\n" + "seal\n" * 10_000, encoding="utf-8")
    return ["measure", str(wav(folder, rng)), "--words", str(path), "--to", str(folder / "table.csv")]


@case
def list_that_is_a_sound(folder: Path, rng: np.random.Generator) -> list[str]:
    path = wav(folder, rng)
    return ["measure", str(path), "--words", str(path)]


@case
def list_not_there(folder: Path, rng: np.random.Generator) -> list[str]:
    return ["measure", str(wav(folder, rng)), "--words", str(rng.choice(["core-z", "none.csv", "a/b.csv"]))]


@case
def unknown_word(folder: Path, rng: np.random.Generator) -> list[str]:
    return ["measure", str(wav(folder, rng)), "--say", str(rng.choice(["sxqz", "seal,,sun", "", "7up", "🙂", "seal;"]))]


@case
def odd_phones(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "list.csv"
    path.write_text(f"word,phones\nseal,{rng.choice(['S QQ L', '/s7l/', '//', '///', 'S|S|S'])}\n", encoding="utf-8")
    return ["measure", str(wav(folder, rng)), "--words", str(path)]


@case
def path_not_there(folder: Path, rng: np.random.Generator) -> list[str]:
    return [str(rng.choice(["measure", "check"])), str(folder / "nowhere.wav")]


@case
def folder_for_a_file(folder: Path, rng: np.random.Generator) -> list[str]:
    return [str(rng.choice(["measure", "check"])), str(folder)]


@case
def table_into_nowhere(folder: Path, rng: np.random.Generator) -> list[str]:
    place = folder / "nowhere" / "table.csv" if rng.random() < 0.5 else folder
    return ["measure", str(wav(folder, rng)), "--say", "seal", "--to", str(place)]


@case
def both_ways_of_prompting(folder: Path, rng: np.random.Generator) -> list[str]:
    return ["measure", str(wav(folder, rng)), "--say", "seal", "--words", "core-a"]


@case
def unknown_method(folder: Path, rng: np.random.Generator) -> list[str]:
    return ["measure", str(wav(folder, rng)), "--say", "seal", "--method", str(rng.choice(["", "house-99k", "15k/2"]))]


@case
def odd_response(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "mic.csv"
    path.write_text(str(rng.choice(["", "frequency_hz,level_db\n100,nan\n200,1\n", "frequency_hz\n1\n"])))
    return ["measure", str(wav(folder, rng)), "--say", "seal", "--response", str(path)]


@case
def odd_intervals(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "edges.csv"
    path.write_text(f"onset_s,offset_s\n{rng.choice(['0.2,0.1', '0.1,99', 'a,b', '0.1,', '-1,0.2'])}\n")
    return ["measure", str(wav(folder, rng)), "--intervals", str(path)]


@case
def no_such_option(folder: Path, rng: np.random.Generator) -> list[str]:
    return ["measure", str(wav(folder, rng)), str(rng.choice(["--speed", "--to"]))]


@case
def silence(folder: Path, rng: np.random.Generator) -> list[str]:
    path = folder / "silence.wav"
    sf.write(path, np.zeros(int(rng.integers(100, 60000))), int(rng.choice([8000, 44100])))
    return ["measure", str(path), "--say", "seal, sun"]


@case
def one_good_among_bad(folder: Path, rng: np.random.Generator) -> list[str]:
    good, bad = wav(folder, rng), folder / "bad.wav"
    bad.write_bytes(rng.bytes(100))
    return ["check", str(bad), str(good), "--json"]


def attempt(make: Make, folder: Path, seed: int, capsys: pytest.CaptureFixture[str]) -> str:
    """Run one hostile command; assert its manners; return how it ended."""
    arguments = make(folder, np.random.default_rng(seed))
    before = set(folder.rglob("*"))
    code = run(arguments)
    out, err = capsys.readouterr()
    assert code in (0, 2, 3), (make.__name__, seed, code, err[-500:])
    assert "Traceback" not in out + err
    if code == 3:
        assert len(err.strip().splitlines()) == 1, (make.__name__, seed, err)
        assert str(folder) not in err, "an error names files by their base name"
    if code:
        new = set(folder.rglob("*")) - before
        assert not new, f"{make.__name__} left {new}"
    assert not list(folder.rglob("*.part"))
    return {0: "a result", 2: "wrong command line", 3: "refused"}[code]


@pytest.mark.parametrize("name", list(CASES))
def test_each_kind_once(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    attempt(CASES[name], tmp_path, 1, capsys)


@pytest.mark.long
def test_three_hundred(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    names = list(CASES)
    ended: Counter[str] = Counter()
    for number in range(300):
        folder = tmp_path / str(number)
        folder.mkdir()
        ended[attempt(CASES[names[number % len(names)]], folder, 1000 + number, capsys)] += 1
    root = Path(__file__).parents[2]
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=root, capture_output=True, text=True, check=True
    )
    rows = [f"{how},{n},0,{commit.stdout.strip()}" for how, n in sorted(ended.items())]
    text = "ended,inputs,tracebacks_or_partial_files,commit\n" + "\n".join(rows) + "\n"
    (root / "docs" / "evidence" / "hostile.csv").write_text(text, encoding="utf-8")


def test_full_disk_leaves_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk, simulated where bytes reach the file."""
    path = wav(tmp_path, np.random.default_rng(2))
    real = os.fdopen

    class Full(io.RawIOBase):
        def __init__(self, handle: int) -> None:
            self.handle = handle

        def write(self, data: object) -> int:
            raise OSError(28, "No space left on device")

        def writable(self) -> bool:
            return True

        def close(self) -> None:
            if not self.closed:
                os.close(self.handle)
            super().close()

    monkeypatch.setattr(
        "sibilant.files.os.fdopen", lambda handle, mode: Full(handle) if "w" in mode else real(handle, mode)
    )
    code = run(["measure", str(path), "--say", "seal", "--to", str(tmp_path / "table.csv")])
    err = capsys.readouterr().err
    assert code == 3 and len(err.strip().splitlines()) == 1 and "table.csv" in err and "no space" in err
    assert sorted(p.name for p in tmp_path.iterdir()) == ["probe.wav"]


def test_read_only_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """A read-only folder; simulated, since tests may run as root."""
    path = wav(tmp_path, np.random.default_rng(3))

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("sibilant.files._created", refuse)
    code = run(["measure", str(path), "--say", "seal", "--to", str(tmp_path / "table.csv")])
    err = capsys.readouterr().err
    assert code == 3 and "permission denied" in err and "table.csv" in err
