"""Recordings handed over as bytes, as the page does: measured as files are, and never written into one."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest

from sibilant import reference_sounds
from sibilant.errors import RecordingError
from sibilant.listening import measure

CLIP = reference_sounds() / "ktuberling-stick.ogg"


def test_bytes_are_measured_as_the_file_is_and_stand_in_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "nowhere"))  # whatever wants a temporary file fails
    monkeypatch.setattr(Path, "write_bytes", lambda *given: pytest.fail("a file is written"))
    (given,) = measure.measure_given([(CLIP.name, CLIP.read_bytes())], say="stick")
    (read,) = measure.measure(measure.MeasureRequest([CLIP], say="stick"))
    assert given.rows == read.rows and given.rows[0]["finding"] == "found"


def test_what_is_no_sound_is_told_by_its_name() -> None:
    with pytest.raises(RecordingError, match=r"^notes\.wav: "):
        measure.measure_given([("notes.wav", b"no sound")], say="stick")
