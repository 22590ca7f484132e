"""Only regular files, of a size that a list can have; a sound of at most two and a half hours."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import numpy as np
import pytest

from sibilant import audio, tables
from sibilant.errors import ListError, RecordingError


def in_five_seconds(ask: object) -> BaseException | None:
    """What a call raised, or a failure when it is still at it after five seconds."""
    raised: list[BaseException] = []

    def work() -> None:
        try:
            ask()  # type: ignore[operator]
        except Exception as error:  # noqa: BLE001 - handed to the test
            raised.append(error)

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    thread.join(5.0)
    assert not thread.is_alive(), "still reading"
    return raised[0] if raised else None


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no such device here")
def test_a_device_or_a_pipe_is_no_list(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.csv")
    for path in (Path("/dev/zero"), tmp_path / "pipe.csv"):
        error = in_five_seconds(lambda path=path: tables.read_list(path))
        assert isinstance(error, ListError) and "a device or a pipe" in str(error)


def test_a_list_of_a_million_lines_is_refused_before_it_is_taken_apart(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    path.write_text("word\n" + "seal\n" * 1_000_000, encoding="utf-8")
    with pytest.raises(ListError, match=r"long.csv: more than 200000 lines"):
        tables.read_list(path)
    path.write_text("word\n" + "seal\n" * 1_000, encoding="utf-8")
    assert len(tables.read_list(path)) == 1_000


def test_hours_of_silence_in_a_small_file_are_refused_by_the_header(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sibilant.audio import reading

    monkeypatch.setattr(reading, "LONGEST_S", 3.0)
    content = audio.flac_bytes(np.zeros(4 * 8_000, np.float32), 8_000)
    (tmp_path / "long.flac").write_bytes(content)
    monkeypatch.setattr(reading, "Gathering", None)  # nothing is decoded
    with pytest.raises(RecordingError, match=r"long.flac: 0.0 h of sound at 8000 Hz, at most"):
        audio.read_recording(tmp_path / "long.flac")
    with pytest.raises(RecordingError, match="at most"):
        audio.recording_from_bytes(content, "take")


def test_a_carried_columns_name_is_no_formula() -> None:
    columns = (tables.Column("=hyperlink(1)", "string", "carried"),)
    assert next(iter(tables.table_lines([], columns))).strip() == "'=hyperlink(1)"
