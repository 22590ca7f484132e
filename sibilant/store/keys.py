"""The caseload's key: random, wrapped by a passphrase in ``key.json``, told once as a recovery code.

The 32-byte key is drawn at random and never changes while the caseload is encrypted. ``key.json`` holds it under
AES-256-GCM with a key that scrypt stretches from the passphrase; a new passphrase wraps the same key again. From it
HKDF-SHA256 derives one sub-key each for the database, the sound, and the names of sound files. Nothing here prints,
logs or shows a key or a passphrase, and nothing of ``cryptography`` is loaded unless a caseload is encrypted.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import os
import secrets
import unicodedata
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from ..errors import CaseloadError
from ..files import from_json, write_text

KEY_FILE = "key.json"
KEY_FORMAT = 1  # of the key file
PASSPHRASE_FROM = "SIBILANT_PASSPHRASE"
LEAST_PASSPHRASE = 12
"""Characters a passphrase must have (common practice, no source)."""
LEAST_GUESSES = 1e10
"""Guesses a passphrase must stand by zxcvbn's estimate: its own bound of the strongest of five classes. With scrypt's
third of a second a guess that is a hundred years of one processor."""
LONGEST_LOOKED_AT = 72
"""zxcvbn looks at no more characters than this."""
OUR_WORDS = ["sibilant", "caseload", "passphrase"]
"""What somebody who guesses this program's passphrases tries first."""
SCRYPT_N = 2**17  # with r = 8 and p = 1, as OWASP's cheat sheet on passwords advises (from memory)
MOST_MEMORY = 1 << 30  # bytes that a key file may ask scrypt for
CHECK_BYTES = 3  # of the hash, at the end of a recovery code
GROUP = 4  # letters written together
LOOK_ALIKES = str.maketrans({"0": "O", "1": "I", "8": "B"})
MISSING_EXTRA = 'the caseload is encrypted, which needs an extra: pip install "sibilant[private]"'
DAMAGED = (
    f"{KEY_FILE}: damaged, or not a caseload's; put it back from a backup, or: sibilant caseload passphrase --recover"
)


@dataclass(frozen=True, slots=True)
class Keys:
    """Sub-keys of an open, encrypted caseload; ``identity`` is public, the keys never show."""

    identity: str
    database: bytes = field(repr=False)
    sound: bytes = field(repr=False)
    names: bytes = field(repr=False)
    marks: bytes = field(repr=False)


@dataclass(frozen=True, slots=True)
class KeyFile:
    """What ``key.json`` holds: how the passphrase is stretched, and the wrapped key. Nothing in it is secret alone.

    ``records_too`` says that the records are encrypted with the sound, so that nobody can lead them into another
    database by writing its url into ``caseload.toml``.
    """

    identity: str
    salt: bytes
    nonce: bytes
    wrapped: bytes
    records_too: bool = True
    n: int = SCRYPT_N
    r: int = 8
    p: int = 1

    def bound(self) -> bytes:
        """The part that the wrapping vouches for: changed, it no longer opens."""
        covers = "records and sound" if self.records_too else "sound"
        return f"sibilant caseload key {KEY_FORMAT} {self.identity} {self.n} {self.r} {self.p} {covers}".encode()


def need_extra() -> None:
    """Refuse where the optional extra is not installed.

    Raises
    ------
    CaseloadError
        Names the extra.
    """
    try:
        import cryptography  # noqa: F401
        import sqlcipher3  # noqa: F401
        import zxcvbn  # noqa: F401
    except ImportError as error:
        raise CaseloadError(MISSING_EXTRA) from error


def is_encrypted(folder: Path) -> bool:
    """Say whether the caseload in a folder is encrypted: whether its ``key.json`` is there."""
    return (folder / KEY_FILE).exists()


def identity_of(folder: Path) -> str:
    """Return the public identity of the key a folder's caseload is under, empty when it is not encrypted."""
    return read_key_file(folder).identity if is_encrypted(folder) else ""


def new_key() -> bytes:
    """Draw a caseload's key."""
    return secrets.token_bytes(32)


def subkeys(key: bytes) -> Keys:
    """Derive the sub-keys by HKDF-SHA256 (RFC 5869), each under its own name."""
    return Keys(
        identity=derive(key, "identity")[:8].hex(),
        database=derive(key, "database"),
        sound=derive(key, "sound"),
        names=derive(key, "sound names"),
        marks=derive(key, "marks"),
    )


def derive(key: bytes, name: str) -> bytes:
    """Return the 32-byte sub-key of a name."""
    from cryptography.hazmat.primitives.hashes import SHA256
    from cryptography.hazmat.primitives.kdf.hkdf import HKDF

    return HKDF(SHA256(), length=32, salt=None, info=f"sibilant caseload 1: {name}".encode()).derive(key)


def checked_passphrase(passphrase: str) -> str:
    """Return a new passphrase, or refuse one that is short or easily guessed.

    Raises
    ------
    CaseloadError
        When it is shorter than 12 characters, or zxcvbn (Wheeler, USENIX Security 2016) expects it to be found within
        10^10 guesses.
    """
    if len(passphrase.strip()) < LEAST_PASSPHRASE:
        raise CaseloadError(
            f"the passphrase is shorter than {LEAST_PASSPHRASE} characters; take several words that nobody would guess"
        )
    from zxcvbn import zxcvbn

    found = zxcvbn(passphrase[:LONGEST_LOOKED_AT], user_inputs=OUR_WORDS)
    if found["guesses"] < LEAST_GUESSES:
        why = str(found["feedback"]["warning"]).rstrip(".")
        raise CaseloadError(
            f"the passphrase is easily guessed{f' ({why[0].lower()}{why[1:]})' if why else ''}; take four or five words"
            " that have nothing to do with each other or with you"
        )
    return passphrase


def forget_passphrases() -> None:
    """Forget what was stretched in this process, so that the passphrase has to be given again."""
    stretched.cache_clear()


def wrap(key: bytes, passphrase: str, *, records_too: bool = True, n: int = SCRYPT_N) -> KeyFile:
    """Wrap a caseload's key by a passphrase stretched by scrypt of cost ``n`` (128 MiB, about a third of a second)."""
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    salt, nonce = secrets.token_bytes(16), secrets.token_bytes(12)
    bare = KeyFile(subkeys(key).identity, salt, nonce, b"", records_too, n)
    sealed = AESGCM(stretched(_bytes(passphrase), salt, bare.n, bare.r, bare.p)).encrypt(nonce, key, bare.bound())
    return replace(bare, wrapped=sealed)


def unwrap(kept: KeyFile, passphrase: str) -> bytes:
    """Return the caseload's key.

    Raises
    ------
    CaseloadError
        When the passphrase is not the one, or ``key.json`` was changed.
    """
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    opener = AESGCM(stretched(_bytes(passphrase), kept.salt, kept.n, kept.r, kept.p))
    try:
        return opener.decrypt(kept.nonce, kept.wrapped, kept.bound())
    except InvalidTag:
        raise CaseloadError(
            f"the passphrase does not open this caseload (or its {KEY_FILE} was changed); try again, or:"
            " sibilant caseload passphrase --recover"
        ) from None


@lru_cache(maxsize=4)
def stretched(passphrase: bytes, salt: bytes, n: int, r: int, p: int) -> bytes:
    """Stretch a passphrase by scrypt (RFC 7914); kept for the life of the process, as it costs a third of a second."""
    return hashlib.scrypt(passphrase, salt=salt, n=n, r=r, p=p, maxmem=MOST_MEMORY, dklen=32)


def _bytes(passphrase: str) -> bytes:
    """The same bytes however a keyboard composes its letters."""
    return unicodedata.normalize("NFKC", passphrase).encode()


def write_key_file(folder: Path, kept: KeyFile) -> None:
    """Write ``key.json``, whole or not at all, for its owner alone."""
    erase_half_written(folder)
    write_text(folder / KEY_FILE, _written(kept), private=True)


def _written(kept: KeyFile) -> str:
    content = {
        "form": "sibilant-caseload-key",
        "format": KEY_FORMAT,
        "identity": kept.identity,
        "records_too": kept.records_too,
        "scrypt": {"n": kept.n, "r": kept.r, "p": kept.p, "salt": _text(kept.salt)},
        "aes_256_gcm": {"nonce": _text(kept.nonce), "wrapped_key": _text(kept.wrapped)},
    }
    return json.dumps(content, indent=1) + "\n"


def is_as_written(folder: Path) -> bool:
    """Say whether ``key.json`` is what this program writes, to the bit; one that is not may open all the same."""
    return (folder / KEY_FILE).read_bytes() == _written(read_key_file(folder)).encode()


def erase_half_written(folder: Path) -> None:
    """Take away a ``key.json`` that a killed process left half-written."""
    for part in folder.glob(f".{KEY_FILE}.*.part"):
        part.unlink(missing_ok=True)


def read_key_file(folder: Path) -> KeyFile:
    """Read ``key.json``.

    Raises
    ------
    CaseloadError
        When it is damaged, or newer than this program.
    """
    try:
        content = from_json((folder / KEY_FILE).read_text(encoding="utf-8"))
        newer = content["format"] > KEY_FORMAT
        kept = None if newer else _from(content)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise CaseloadError(DAMAGED) from error
    if kept is None:
        raise CaseloadError(
            f"{KEY_FILE}: format {str(content['format'])[:10]}, this program knows up to {KEY_FORMAT}; install a newer"
            " sibilant"
        )
    return kept


def _from(content: dict[str, Any]) -> KeyFile:
    """Read the fields; figures that scrypt can't take, or that would eat the machine's memory, are damage."""
    stretch, sealed = content["scrypt"], content["aes_256_gcm"]
    n, r, p = (int(stretch[name]) for name in "nrp")
    if n < 2 or n & (n - 1) or r < 1 or p != 1 or 128 * n * r > MOST_MEMORY // 2:
        raise ValueError("scrypt's figures")
    salt, nonce, wrapped = (
        base64.b64decode(text, validate=True) for text in (stretch["salt"], sealed["nonce"], sealed["wrapped_key"])
    )
    identity, records_too = content["identity"], content["records_too"]
    if (len(salt), len(nonce), len(wrapped)) != (16, 12, 48) or (type(identity), type(records_too)) != (str, bool):
        raise ValueError("lengths or kinds")
    return KeyFile(identity, salt, nonce, wrapped, records_too, n, r, p)


def _text(content: bytes) -> str:
    return base64.b64encode(content).decode()


def recovery_code(key: bytes) -> str:
    """Return a caseload's key as 14 groups of four letters and digits, a check of 24 bits included.

    Examples
    --------
    >>> recovery_code(bytes(32))[:19]
    'AAAA-AAAA-AAAA-AAAA'
    >>> key_from_code(recovery_code(bytes(range(32)))) == bytes(range(32))
    True
    """
    letters = base64.b32encode(key + _check(key)).decode()
    return "-".join(letters[i : i + GROUP] for i in range(0, len(letters), GROUP))


def key_from_code(code: str) -> bytes:
    """Return a caseload's key from its recovery code, however spaced, in small or capital letters.

    Raises
    ------
    CaseloadError
        When it is not one, or a letter of it is wrong.
    """
    letters = "".join(code.split()).replace("-", "").upper().translate(LOOK_ALIKES)
    try:
        content = base64.b32decode(letters)
    except ValueError:
        content = b""
    key, check = content[:32], content[32:]
    if len(content) != 32 + CHECK_BYTES or not hmac.compare_digest(check, _check(key)):
        raise CaseloadError("this is no recovery code, or a letter of it is wrong; it has 14 groups of four")
    return key


def identity_of_code(code: str) -> str:
    """Return the public identity of the key that a recovery code holds.

    Raises
    ------
    CaseloadError
        When it is none, or a letter of it is wrong.
    """
    return subkeys(key_from_code(code)).identity


def _check(key: bytes) -> bytes:
    return hashlib.sha256(b"sibilant recovery code" + key).digest()[:CHECK_BYTES]


def passphrase_from_environment() -> str:
    """Return the passphrase of ``SIBILANT_PASSPHRASE``.

    Raises
    ------
    CaseloadError
        When it is not set.
    """
    if not (passphrase := os.environ.get(PASSPHRASE_FROM, "")):
        raise CaseloadError(
            f"the caseload is encrypted and no passphrase was given; set {PASSPHRASE_FROM}, or work in a terminal,"
            " which asks for it"
        )
    return passphrase
