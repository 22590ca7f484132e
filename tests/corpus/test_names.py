"""What recordings of a manifest are called: never by a path that names a person or a disk."""

from __future__ import annotations

from pathlib import Path

from sibilant.corpus.manifest import _names


def test_recordings_that_share_no_folder_are_called_after_its_number() -> None:
    places = [Path("/home/alice/study/a.wav"), Path("/mnt/b/a.wav"), Path("/mnt/b/c.wav")]
    assert list(_names(Path("/srv/lists"), places).values()) == ["folder-1/a.wav", "folder-2/a.wav", "folder-2/c.wav"]


def test_homes_are_no_common_folder() -> None:
    places = [Path("/home/alice/a.wav"), Path("/home/bob/a.wav")]
    assert "alice" not in "".join(_names(Path("/srv/lists"), places).values())


def test_a_common_folder_still_names_what_lies_below_it() -> None:
    places = [Path("/data/corpus/one/a.wav"), Path("/data/corpus/two/b.wav")]
    assert list(_names(Path("/srv/lists"), places).values()) == ["one/a.wav", "two/b.wav"]
    assert list(_names(Path("/data/corpus"), places).values()) == ["one/a.wav", "two/b.wav"]
