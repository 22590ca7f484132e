"""Work under way, such as a take that is being recorded: kept in the caseload's folder until it becomes a session.

In an encrypted caseload each piece is sealed as kept sound is, and the names of folder and file tell neither the client
nor what is in them.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import secrets
import shutil
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from ..errors import CaseloadError
from ..files import from_json, output_error, paths_in, write_bytes
from ..terms.codes import is_client_code
from . import clips, rights, sealing
from .schema import CLIENTS, RECORDINGS, SETTINGS

if TYPE_CHECKING:
    from .caseload import Caseload

FOLDER = "takes"
BECAME = "became.json"
PART = ".part"
"""How a file ends that was being written (see ``files``) when its program was killed."""
LONGEST_WAIT_S, LOOKS_EVERY_S = 60.0, 0.01  # for another program that holds the takes


def draft_folder(caseload: Caseload, code: str) -> Path:
    """Return where a client's work under way lies; only a client code names a folder.

    Raises
    ------
    CaseloadError
        When the code is none.
    """
    if not is_client_code(code):
        raise CaseloadError(f"{code[:20]}: not a client code; sibilant client list shows them")
    return caseload.folder / FOLDER / _name(caseload, code)


def _name(caseload: Caseload, text: str) -> str:
    if caseload.keys is None:
        return text
    return sealing.name_of(caseload.keys, hashlib.sha256(b"draft " + text.encode()).hexdigest())


def _path(caseload: Caseload, code: str, name: str) -> Path:
    if caseload.keys is None:
        return draft_folder(caseload, code) / name
    return draft_folder(caseload, code) / f"{_name(caseload, f'{code}/{name}')}{sealing.SUFFIX}"


def has_draft(caseload: Caseload, code: str, name: str) -> bool:
    """Say whether a piece of a client's work under way is there."""
    return _path(caseload, code, name).exists()


def write_draft(caseload: Caseload, code: str, name: str, content: bytes) -> None:
    """Keep a piece of a client's work under way, whole or not at all, sealed where the caseload is.

    Under the same lock as all sound, so that none appears while the caseload is encrypted; looked at again once it is
    written, so that none is left of a client who was removed meanwhile.

    Raises
    ------
    OutputError
        When the folder can't be written.
    CaseloadError
        When the caseload was encrypted or decrypted since it was opened, or the client is gone.
    """
    path = _path(caseload, code, name)
    with clips.together(caseload):
        rights.private_folder(caseload.folder / FOLDER)
        rights.private_folder(path.parent)
        fresh = not paths_in(path.parent, "*")
        bound = _bound(caseload, code, path, begin=fresh)
        write_bytes(path, sealing.as_kept(caseload.keys, bound, content))
        rights.close(path)
        if code in _codes(caseload):
            return
        _erase(path.parent)
    raise CaseloadError(f"{code}: no such client any more; nothing of the take was kept")


def read_draft(caseload: Caseload, code: str, name: str) -> bytes:
    """Return a piece of a client's work under way.

    Raises
    ------
    CaseloadError
        When it is gone or, in an encrypted caseload, its bytes have changed.
    """
    path = _path(caseload, code, name)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise CaseloadError(f"a part of {code}'s take is gone or can't be read; throw the take away") from error
    return sealing.as_made(caseload.keys, _bound(caseload, code, path), content)


def _bound(caseload: Caseload, code: str, path: Path, *, begin: bool = False) -> str:
    """What a sealed piece is bound to: its name, and a sign drawn when its take began.

    A piece of a take that was thrown away has the same name, and does not open in another take.
    """
    if not caseload.encrypted:
        return path.stem
    if begin and code in _codes(caseload):
        sign = secrets.token_hex(8)
        with caseload.change("take begun", code) as connection:
            connection.execute(SETTINGS.delete().where(SETTINGS.c.key == sign_key(code)))
            connection.execute(SETTINGS.insert().values(key=sign_key(code), value=sign))
    return f"{path.stem} {caseload.setting(sign_key(code))}".strip()


def draft_key(code: str, kind: str) -> str:
    """Return the setting that holds what was written into a report of a client, before it is made."""
    return f"report_{code}_{kind}"


def drafts_of(code: str) -> sa.ColumnElement[bool]:
    """Which settings are drafts of a client's reports: they go with the client, into the bin's time too."""
    return SETTINGS.c.key.startswith(draft_key(code, ""), autoescape=True)


def sign_key(code: str) -> str:
    """Return the setting that holds the sign of a client's take."""
    return f"take_{code}"


def erase_drafts(caseload: Caseload, code: str) -> int:
    """Erase a client's work under way; return how many files went.

    Raises
    ------
    OutputError
        When the folder can't be written.
    """
    folder = draft_folder(caseload, code)
    if not folder.is_dir():
        return 0
    with clips.together(caseload):
        n_files = len(paths_in(folder, "*"))
        _erase(folder)
    return n_files


@contextlib.contextmanager
def takes_alone(caseload: Caseload) -> Iterator[None]:
    """Hold all work under way alone, among threads and programs: the next waits, and finds it as it was left.

    Raises
    ------
    CaseloadError
        When another holds it too long.
    OutputError
        When the folder can't be written.
    """
    until_s = time.monotonic() + LONGEST_WAIT_S
    while time.monotonic() < until_s:
        with clips.locked(caseload.folder, shared=False) as held:
            if held:
                yield
                return
        time.sleep(LOOKS_EVERY_S)
    raise CaseloadError("another program is at work in a take; close it there, and do it again")


def _erase(folder: Path) -> None:
    """Erase a folder in one step, as far as anybody's work goes: killed after it, the rest belongs to nobody."""
    try:
        if folder.is_dir():
            shutil.rmtree(folder.rename(folder.with_name(f"gone-{secrets.token_hex(8)}")))
    except OSError as error:
        raise output_error(folder, error) from error


def announce_session(caseload: Caseload, code: str, hashes: Iterable[str]) -> None:
    """Say of a client's work under way which recordings it is about to become; once they are kept it is nobody's."""
    write_draft(caseload, code, BECAME, json.dumps(sorted(hashes)).encode())


def _became_session(caseload: Caseload, code: str) -> bool:
    if not has_draft(caseload, code, BECAME):
        return False
    try:
        hashes = set(from_json(read_draft(caseload, code, BECAME)))
    except (CaseloadError, ValueError):
        return False
    with caseload.read(code) as connection:
        kept = connection.execute(sa.select(RECORDINGS.c.sha256).where(RECORDINGS.c.sha256.in_(hashes))).scalars().all()
    return bool(hashes) and hashes == set(kept)


def _codes(caseload: Caseload) -> set[str]:
    with caseload.read() as connection:
        return set(connection.execute(sa.select(CLIENTS.c.code)).scalars())


def of_nobody(caseload: Caseload) -> list[Path]:
    """Return what lies among the takes and is no client's, became a session, is half-written, or has the other form."""
    found = paths_in(caseload.folder / FOLDER, "*")
    if not found:
        return []
    known = {_name(caseload, code) for code in _codes(caseload) if not _became_session(caseload, code)}
    inside = [path for folder in found if folder.name in known for path in paths_in(folder, "*")]
    other = [path for path in inside if path.suffix == PART or (path.suffix == sealing.SUFFIX) != caseload.encrypted]
    return [path for path in found if path.name not in known or not set(paths_in(path, "*")) - set(other)] + other


def any_of(caseload: Caseload, code: str) -> bool:
    """Say whether a client's work is under way."""
    return any(path.is_file() for path in paths_in(draft_folder(caseload, code), "*"))


def any_drafts(caseload: Caseload) -> bool:
    """Say whether any client's work is under way."""
    return any(path.is_file() for path in paths_in(caseload.folder / FOLDER, "**/*"))
