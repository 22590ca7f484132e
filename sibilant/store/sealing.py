"""Sound sealed: AES-256-GCM in memory, the length rounded up, the file's name telling nothing of what is in it.

A sealed file is a version byte, a random nonce of 12 bytes and the ciphertext with its tag; what is sealed is the
length, the sound and zeros up to a step. Its name is bound to it, so that two files can't be exchanged.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets

from ..errors import CaseloadError
from .keys import Keys

SUFFIX = ".sealed"
VERSION = b"\x01"
NONCE_BYTES = 12  # of AES-GCM (NIST SP 800-38D, from memory)
HEAD_BYTES = 64
"""More than what stands round a sealed sound: its length, the version, nonce and tag."""
STEP_BYTES = 1 << 15  # least step that lengths are rounded up to, so that they tell little
MOST_BYTES = (1 << 31) - (1 << 28)
"""Beyond this, with its padding, one call of the cipher does not take it."""


def name_of(keys: Keys, sha256: str) -> str:
    """Return the name of the file that holds the sound of a hash: HMAC-SHA256 (RFC 2104), 64 hexadecimal digits.

    Who holds a recording but not the key can't work the name out, and so can't find out whether it is kept.
    """
    return hmac.new(keys.names, bytes.fromhex(sha256), hashlib.sha256).hexdigest()


def padded_bytes(n_bytes: int) -> int:
    """Return the length that a sound is padded to: a multiple of 32 KiB, or of an eighth of its octave where larger.

    Examples
    --------
    >>> padded_bytes(50_000), padded_bytes(20_000_000)
    (65536, 20971520)
    """
    step = max(STEP_BYTES, 1 << max(0, n_bytes.bit_length() - 4))
    return -(-n_bytes // step) * step


def seal(keys: Keys, name: str, content: bytes) -> bytes:
    """Seal sound under the name of its file.

    Raises
    ------
    CaseloadError
        When it is too long to be sealed in one piece (1.75 GB).
    """
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    if len(content) > MOST_BYTES:
        raise CaseloadError(
            f"a sound of {len(content) / 1e9:.1f} GB is too long to be kept encrypted; keep the words (--keep words)"
        )
    plain = len(content).to_bytes(8, "big") + content
    plain += bytes(padded_bytes(len(plain)) - len(plain))
    nonce = secrets.token_bytes(NONCE_BYTES)
    return VERSION + nonce + AESGCM(keys.sound).encrypt(nonce, plain, _bound(name))


def unseal(keys: Keys, name: str, sealed: bytes) -> bytes:
    """Return the sound of a sealed file.

    Raises
    ------
    CaseloadError
        When a byte of it has changed, it stands under another file's name, or it is under another key.
    """
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    start = len(VERSION) + NONCE_BYTES
    if sealed[:1] != VERSION and len(sealed) > start:
        raise CaseloadError(f"clip {name[:12]}: its bytes have changed, or a newer sibilant sealed it; put it back")
    try:
        plain = AESGCM(keys.sound).decrypt(sealed[1:start], sealed[start:], _bound(name))
    except (InvalidTag, ValueError):
        raise CaseloadError(
            f"clip {name[:12]}: its bytes have changed since it was kept; put it back from a backup"
        ) from None
    return plain[8 : 8 + int.from_bytes(plain[:8], "big")]


def as_kept(keys: Keys | None, name: str, content: bytes) -> bytes:
    """Return sound as its file holds it: sealed with keys, as it is without."""
    return content if keys is None else seal(keys, name, content)


def as_made(keys: Keys | None, name: str, kept: bytes) -> bytes:
    """Return the sound that a file holds, the inverse of :func:`as_kept`."""
    return kept if keys is None else unseal(keys, name, kept)


def _bound(name: str) -> bytes:
    return b"sibilant sealed sound 1 " + name.encode()
