"""Keys and sealed sound: known answers from outside, and what a changed byte does. Invented data – not a person."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sibilant.errors import CaseloadError
from sibilant.store import keys, sealing

PASSPHRASE = "six blue horses walk"
KEY = bytes(range(32))
CHEAP = 2**10


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with a key file of a cheap scrypt."""
    keys.write_key_file(tmp_path, keys.wrap(KEY, PASSPHRASE, n=CHEAP))
    return tmp_path


def test_scrypt_as_published() -> None:
    """RFC 7914, section 12, second and third vector; the first 32 of their 64 bytes (PBKDF2's first block)."""
    second = "fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162"
    third = "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"
    assert keys.stretched(b"password", b"NaCl", 1024, 8, 16).hex() == second
    assert keys.stretched(b"pleaseletmein", b"SodiumChloride", 16384, 8, 1).hex() == third


def test_aes_256_gcm_as_published() -> None:
    """McGrew and Viega, The Galois/Counter Mode of Operation, test cases 14 (from memory) and 16."""
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    made = AESGCM(bytes(32)).encrypt(bytes(12), bytes(16), b"")
    assert made.hex() == "cea7403d4d606b6e074ec5d3baf39d18d0d1c8a799996bf0265b98b5d48ab919"
    key = bytes.fromhex("feffe9928665731c6d6a8f9467308308" * 2)
    plain = bytes.fromhex(
        "d9313225f88406e5a55909c5aff5269a86a7a9531534f7da2e4c303d8a318a72"
        "1c3c0c95956809532fcf0e2449a6b525b16aedf5aa0de657ba637b39"
    )
    extra = bytes.fromhex("feedfacedeadbeeffeedfacedeadbeefabaddad2")
    made = AESGCM(key).encrypt(bytes.fromhex("cafebabefacedbaddecaf888"), plain, extra)
    assert made[:4].hex() == "522dc1f0" and made[-16:].hex() == "76fc6ece0f4e1768cddf8853bb2d551b"


def test_sub_keys_are_hkdf() -> None:
    """RFC 5869: its test case 3 (no salt, no info; from memory) worked by hand, and our sub-keys by that hand."""

    def by_hand(key: bytes, info: bytes, n: int) -> bytes:
        drawn = hmac.new(bytes(32), key, hashlib.sha256).digest()
        made, block = b"", b""
        while len(made) < n:
            block = hmac.new(drawn, block + info + bytes([len(made) // 32 + 1]), hashlib.sha256).digest()
            made += block
        return made[:n]

    published = "8da4e775a563c18f715f802a063c5a31b8a11f5c5ee1879ec3454e5f3c738d2d9d201395faa4b61a96c8"
    assert by_hand(b"\x0b" * 22, b"", 42).hex() == published
    for name in ("database", "sound", "sound names", "identity"):
        assert keys.derive(KEY, name) == by_hand(KEY, f"sibilant caseload 1: {name}".encode(), 32)
    made = keys.subkeys(KEY)
    assert len({made.database, made.sound, made.names, KEY}) == 4


def test_the_key_file_opens_by_its_passphrase_only(folder: Path) -> None:
    kept = keys.read_key_file(folder)
    assert keys.unwrap(kept, PASSPHRASE) == KEY
    assert (folder / "key.json").stat().st_mode & 0o077 == 0
    for wrong in (PASSPHRASE + " ", PASSPHRASE.upper(), "", "x"):
        with pytest.raises(CaseloadError, match="does not open this caseload"):
            keys.unwrap(kept, wrong)


def test_the_key_file_holds_no_key_and_opens_without_us(folder: Path) -> None:
    """Opened by Python's own scrypt and the cipher, from what the file says alone."""
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    text = (folder / "key.json").read_text(encoding="utf-8")
    content = json.loads(text)
    assert KEY.hex() not in text and base64.b64encode(KEY).decode() not in text and PASSPHRASE not in text
    stretch, sealed = content["scrypt"], content["aes_256_gcm"]
    n, r, p = stretch["n"], stretch["r"], stretch["p"]
    salt, nonce, wrapped = (
        base64.b64decode(x) for x in (stretch["salt"], sealed["nonce"], sealed["wrapped_key"])
    )  # fmt: skip
    stretched = hashlib.scrypt(PASSPHRASE.encode(), salt=salt, n=n, r=r, p=p, dklen=32, maxmem=2**26)
    bound = f"sibilant caseload key 1 {content['identity']} {n} {r} {p} records and sound".encode()
    assert AESGCM(stretched).decrypt(nonce, wrapped, bound) == KEY


def test_the_passphrase_is_the_same_however_it_is_typed(folder: Path) -> None:
    """One letter or letter and accent (Unicode NFC and NFD) are the same passphrase."""
    kept = keys.wrap(KEY, "caf\u00e9 au lait tonight", n=CHEAP)
    assert keys.unwrap(kept, "cafe\u0301 au lait tonight") == KEY


def test_every_changed_field_of_the_key_file_is_noticed(folder: Path) -> None:
    content = json.loads((folder / "key.json").read_text(encoding="utf-8"))
    for part, name in (
        (None, "identity"), (None, "records_too"), ("scrypt", "salt"), ("scrypt", "n"), ("scrypt", "r"),
        ("aes_256_gcm", "nonce"), ("aes_256_gcm", "wrapped_key"),
    ):  # fmt: skip
        changed = json.loads(json.dumps(content))
        fields = changed if part is None else changed[part]
        value = fields[name]
        if isinstance(value, bool):
            fields[name] = not value
        elif isinstance(value, int):
            fields[name] = 2 * value
        elif part is None:
            fields[name] = value[::-1]
        else:
            raw = bytearray(base64.b64decode(value))
            raw[0] ^= 1
            fields[name] = base64.b64encode(bytes(raw)).decode()
        (folder / "key.json").write_text(json.dumps(changed), encoding="utf-8")
        with pytest.raises(CaseloadError) as refused:
            keys.unwrap(keys.read_key_file(folder), PASSPHRASE)
        assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "{}",
        '{"format": 1}',
        '{"format": "1"}',
        "\x00\xff",
        '{"format": 1, "identity": "x", "scrypt": 3}',
    ],
)
def test_a_damaged_key_file_is_one_line(text: str, tmp_path: Path) -> None:
    (tmp_path / "key.json").write_text(text, encoding="latin-1")
    with pytest.raises(CaseloadError, match=r"key.json: damaged.*--recover"):
        keys.read_key_file(tmp_path)


def test_a_newer_key_file_and_one_that_eats_memory_are_refused(folder: Path) -> None:
    content = json.loads((folder / "key.json").read_text(encoding="utf-8"))
    (folder / "key.json").write_text(json.dumps({**content, "format": 2}), encoding="utf-8")
    with pytest.raises(CaseloadError, match=r"format 2.*newer sibilant"):
        keys.read_key_file(folder)
    for stretch in ({"n": 2**30}, {"n": 1000}, {"n": 0}, {"r": 10**6}, {"p": 50}):
        huge = {**content, "scrypt": {**content["scrypt"], **stretch}}
        (folder / "key.json").write_text(json.dumps(huge), encoding="utf-8")
        with pytest.raises(CaseloadError, match="damaged"):
            keys.read_key_file(folder)


@given(st.binary(min_size=32, max_size=32))
def test_the_recovery_code_gives_the_key_back(key: bytes) -> None:
    """Base32 by RFC 4648: letters A to Z and 2 to 7, so 0, 1 and 8 can only be O, I and B."""
    code = keys.recovery_code(key)
    assert len(code.split("-")) == 14 and keys.key_from_code(code) == key
    assert keys.key_from_code(code.lower().replace("-", " ")) == key
    assert keys.key_from_code(code.replace("O", "0").replace("I", "1").replace("B", "8")) == key
    assert base64.b32decode(code.replace("-", ""))[:32] == key


def test_slips_in_the_recovery_code_are_noticed() -> None:
    """Every letter changed, and neighbours exchanged; a check of 24 bits lets one in 16 million through."""
    code = keys.recovery_code(KEY)
    slips = random.Random(1)
    for place, letter in enumerate(code):
        if letter == "-":
            continue
        other = slips.choice([x for x in "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567" if x != letter])
        swapped = code[: place - 1] + code[place] + code[place - 1] + code[place + 1 :] if place else code[1:]
        for slip in (code[:place] + other + code[place + 1 :], swapped, code[:place]):
            if slip.replace("-", "") != code.replace("-", ""):
                with pytest.raises(CaseloadError, match="no recovery code"):
                    keys.key_from_code(slip)


def test_a_short_passphrase_is_refused() -> None:
    assert keys.checked_passphrase(PASSPHRASE) == PASSPHRASE
    with pytest.raises(CaseloadError, match="shorter than 12"):
        keys.checked_passphrase("horse" + 10 * " ")


def test_nothing_shows_a_key() -> None:
    made = keys.subkeys(KEY)
    for secret in (KEY, made.database, made.sound, made.names):
        assert secret.hex() not in repr(made) and repr(secret) not in repr(made) and str(secret) not in str(made)


MADE = keys.subkeys(KEY)


@settings(deadline=None, max_examples=30)
@given(st.binary(max_size=200_000))
def test_sealed_sound_comes_back(content: bytes) -> None:
    name = sealing.name_of(MADE, hashlib.sha256(content).hexdigest())
    sealed = sealing.seal(MADE, name, content)
    assert sealing.unseal(MADE, name, sealed) == content
    assert sealing.seal(MADE, name, content) != sealed  # a fresh nonce each time
    assert len(sealed) == 1 + 12 + 16 + sealing.padded_bytes(8 + len(content))


def test_a_sealed_file_opens_without_us() -> None:
    """By the cipher's other interface, from what the docstrings say."""
    from cryptography.hazmat.primitives.ciphers import Cipher, algorithms, modes

    content = b"fLaC" + bytes(1000)
    name = sealing.name_of(MADE, hashlib.sha256(content).hexdigest())
    assert name == hmac.new(MADE.names, hashlib.sha256(content).digest(), "sha256").hexdigest()
    sealed = sealing.seal(MADE, name, content)
    opener = Cipher(algorithms.AES(MADE.sound), modes.GCM(sealed[1:13], sealed[-16:])).decryptor()
    opener.authenticate_additional_data(b"sibilant sealed sound 1 " + name.encode())
    plain = opener.update(sealed[13:-16]) + opener.finalize()
    assert plain[:8] == (1004).to_bytes(8, "big") and plain[8:1012] == content and not any(plain[1012:])


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 1 + 12 + 16 + (1 << 15) - 1), st.integers(0, 7))
def test_every_changed_bit_is_noticed(place: int, bit: int) -> None:
    sealed = bytearray(sealing.seal(MADE, "a", b"fLaC sound"))
    sealed[place] ^= 1 << bit
    with pytest.raises(CaseloadError, match="bytes have changed"):
        sealing.unseal(MADE, "a", bytes(sealed))


def test_cut_exchanged_and_foreign_files_are_noticed() -> None:
    sealed = sealing.seal(MADE, "a", b"fLaC sound")
    for name, by, content in (
        ("b", MADE, sealed), ("a", keys.subkeys(bytes(32)), sealed), ("a", MADE, sealed[:-1]), ("a", MADE, sealed[:13]),
        ("a", MADE, sealed[:5]), ("a", MADE, b""), ("a", MADE, b"fLaC plain"),
    ):  # fmt: skip
        with pytest.raises(CaseloadError, match="bytes have changed"):
            sealing.unseal(by, name, content)


@given(st.integers(1, 1 << 34))
def test_padding_costs_an_eighth_at_most_and_tells_little(n: int) -> None:
    padded = sealing.padded_bytes(n)
    assert n <= padded <= max(n * 1.125, 1 << 15) + 1 or padded - n < 1 << 15
    assert padded % (1 << 15) == 0


def test_a_sound_too_long_for_the_cipher_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sealing, "MOST_BYTES", 10)
    with pytest.raises(CaseloadError, match="too long to be kept encrypted"):
        sealing.seal(MADE, "a", bytes(11))
