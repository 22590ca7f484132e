"""What leaves and comes in by the page: an export as one ZIP, such a ZIP brought in, and a backup as one file.

Exports are plain whether or not the caseload is encrypted; the folder that one is made in stands on the disk while it
is made, readable by its owner alone, and goes when it is sent. What a kill leaves of it goes with the next start.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import tempfile
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path, PurePosixPath

from .. import files, store
from ..errors import InputError
from ..terms.reference import ReferenceRange
from .backups import backup
from .build_ranges import build_ranges
from .caseload import CaseloadHandle, opened
from .compare import add_ranges
from .earlier import import_earlier
from .exchange import export_client, import_folder
from .receipts import BackupMade, EarlierImported, Imported

MOST_FILES, MOST_BYTES = 20_000, 1 << 30  # files and bytes of an archive, so that none fills the disk


@contextlib.contextmanager
def aside(caseload: CaseloadHandle) -> Iterator[Path]:
    """A folder for temporary files of one's own, which the caseload knows of, so that it goes after a kill too."""
    with opened(caseload, create=True) as one, store.outside(one, Path(tempfile.gettempdir()) / "sibilant") as made:
        yield made


def export_zip(
    caseload: CaseloadHandle,
    code: str | None,
    *,
    audio: bool = False,
    new_code: bool = False,
    names: Sequence[str] = (),
    allowed: Sequence[str] = (),
) -> bytes:
    """Return one client's export (see ``export_client``) as the bytes of a ZIP."""
    with aside(caseload) as made:
        folder = made / "export"
        export_client(caseload, code, folder, audio=audio, new_code=new_code, names=names, allowed=allowed)
        stream = io.BytesIO()
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
            for path in sorted(path for path in folder.rglob("*") if path.is_file()):
                packed.write(path, path.relative_to(folder).as_posix())
        return stream.getvalue()


def import_file(
    caseload: CaseloadHandle,
    name: str,
    content: bytes,
    *,
    client: str | None = None,
    source: str = "",
    day_zero: dt.date | None = None,
    new_code: bool = False,
) -> Imported | EarlierImported:
    """Keep a client from an export's ZIP, or (a CSV) an earlier hand-made table of the client at hand.

    Raises
    ------
    InputError
        When it is neither, or does not fit; nothing is kept then.
    """
    with aside(caseload) as made:
        if name.lower().endswith(".csv"):
            table = made / files.safe_name(name)
            files.write_bytes(table, content)
            return import_earlier(caseload, client, table, source=source)
        folder = made / "export"
        _unpack(content, folder)
        return import_folder(caseload, folder, day_zero=day_zero, new_code=new_code)


def take_ranges(
    caseload: CaseloadHandle, name: str, content: bytes, *, speaker: str = "", population: str = ""
) -> tuple[tuple[ReferenceRange, ...], tuple[str, ...]]:
    """Keep ranges from a CSV handed over, or make them of a measured table by its column of speakers.

    Returns what was added, and of what no range was made, with reasons.
    """
    with aside(caseload) as made:
        path = made / files.safe_name(name)
        files.write_bytes(path, content)
        if not speaker:
            return add_ranges(path, caseload), ()
        built = build_ranges(path, caseload, speaker=speaker, population=population)
        return built.added, built.left_out


def _unpack(content: bytes, folder: Path) -> None:
    """Write a ZIP's files: those of an export alone, flat or in ``audio``, and no more than can be one."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            entries = [entry for entry in packed.infolist() if not entry.is_dir()]
            if len(entries) > MOST_FILES or sum(entry.file_size for entry in entries) > MOST_BYTES:
                raise InputError("the ZIP holds more than an export can; choose the one that export wrote")
            for entry in entries:
                files.write_bytes(_place(folder, entry.filename), packed.read(entry))
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError) as wrong:
        raise InputError("not a ZIP that can be read; choose the one that export wrote") from wrong


def _place(folder: Path, named: str) -> Path:
    *above, name = PurePosixPath(named).parts or ("",)
    if above not in ([], ["audio"]) or files.safe_name(name) != name:
        raise InputError(f"{name[:30]!r} is no file of an export; choose the ZIP that export wrote")
    return files.make_folder(folder.joinpath(*above)) / name


def backup_file(caseload: CaseloadHandle, folder: Path, remind_after: int | None) -> tuple[Path, BackupMade]:
    """Write a backup into a folder of one's own; return the file, named after its day, and what was done."""
    to = folder / f"{caseload.today().isoformat()}.backup"
    return to, backup(caseload, to, own_passphrase=False, remind_after=remind_after, tell=lambda code: None)
