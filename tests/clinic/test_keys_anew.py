"""Keys: how strong a passphrase is, another key for an encrypted caseload, the recovery sheet.

Invented data – not a person.
"""

from __future__ import annotations

import hashlib
import random
import re
import subprocess
from collections import Counter
from pathlib import Path
from types import ModuleType

import pytest
from sibilant_cli.main import run

from sibilant import store
from sibilant.clinic import wholeness
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import CaseloadError, RefusedError, SibilantError
from sibilant.store.keys import checked_passphrase

FIRST, SECOND = "six blue horses walk", "eight grey otters sleep"
CODE = re.compile(r"(?:[A-Z2-7]{4}-){13}[A-Z2-7]{4}")
SOUND = b"invented bytes, no sound"


@pytest.fixture
def sealed(tmp_path: Path, material: ModuleType, monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None) -> Path:
    """An encrypted caseload with a client, a session and one kept word."""
    monkeypatch.setenv("SIBILANT_PASSPHRASE", FIRST)
    monkeypatch.setenv("SIBILANT_NEW_PASSPHRASE", SECOND)
    folder = tmp_path / "case"
    with store.open_caseload(folder) as one:
        store.add_client(one, material.client())
        store.keep_clip(one, SOUND, ".flac")
        clip = store.NewClip(1, 1, hashlib.sha256(SOUND).hexdigest(), ".flac", 0.0)
        tokens = material.new_sounds([material.token(0, {"centroid_hz": 6000.0})])
        recording = store.NewRecording(f"{1:064d}", 44100, 30.0, {})
        store.keep_session(
            one, store.NewSession(material.session(1), (material.prompt_of(0),), (recording,), tokens, (clip,))
        )
        store.encrypt(one, FIRST, tell=lambda code: None)
    return folder


def held(folder: Path) -> tuple[store.Rows, bytes]:
    """The client's rows and its kept word."""
    with store.open_caseload(folder) as one:
        return store.dump_client(one, "C-7QXK"), store.clip_bytes(one, hashlib.sha256(SOUND).hexdigest(), ".flac")


# The two of the table of what fell, and zxcvbn's own examples of weak ones (its README: Tr0ub4dour&3, D0g..........).
@pytest.mark.parametrize(
    "weak", ["aaaaaaaaaaaa", "password1234", "abcabcabcabcabc", "qwertyuiop123", "sibilant caseload", "D0g.........."]
)
def test_a_guessable_passphrase_is_refused(weak: str) -> None:
    with pytest.raises(CaseloadError, match="easily guessed") as refused:
        checked_passphrase(weak)
    assert weak not in str(refused.value) and "\n" not in str(refused.value)


@pytest.mark.parametrize(
    "strong", [FIRST, SECOND, "correct horse battery staple", "水 vier plume otter 9 gris", "x" * 3 + FIRST * 6]
)
def test_several_words_are_taken(strong: str) -> None:
    assert checked_passphrase(strong) == strong


def test_another_key_opens_and_the_old_one_does_not(
    sealed: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    before, names = held(sealed), {path.name for path in sealed.glob("audio/??/*")}
    kept = (sealed / "key.json").read_bytes()
    sheet = sealed.parent / "recovery.html"
    assert run(["caseload", "rekey", "--sheet", str(sheet), "--caseload", str(sealed)]) == 0
    captured = capsys.readouterr()
    code = CODE.search(captured.out)
    assert code is not None and "erase the file" in captured.err
    assert code[0][:4] in sheet.read_text(encoding="utf-8") and sheet.stat().st_mode & 0o077 == 0
    assert run(["client", "list", "--caseload", str(sealed)]) == 3  # by the old passphrase
    monkeypatch.setenv("SIBILANT_PASSPHRASE", SECOND)
    assert held(sealed) == before
    after = {path.name for path in sealed.glob("audio/??/*")}
    assert len(after) == 1 and not after & names  # no sound is under the old key any more
    with store.open_caseload(sealed) as one:
        assert store.audit_trail(one)[-1].action == "caseload encrypted by another key"
    monkeypatch.setenv("SIBILANT_PASSPHRASE", FIRST)
    (sealed / "key.json").write_bytes(kept)  # an old copy with the old passphrase: it opens nothing any more
    with pytest.raises(CaseloadError, match="under another key"):
        store.open_caseload(sealed)


def test_by_the_new_recovery_code(sealed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before, told = held(sealed), []
    with store.open_caseload(sealed) as one:
        store.rekey(one, SECOND, tell=told.append)
    (sealed / "key.json").unlink()
    store.recover(sealed, lambda: told[0], lambda: FIRST)
    assert held(sealed) == before


def test_a_weak_one_or_a_take_or_an_export_leaves_all_as_it_was(sealed: Path) -> None:
    before = held(sealed)
    with store.open_caseload(sealed) as one:
        with pytest.raises(CaseloadError, match="easily guessed"):
            store.rekey(one, "password1234", tell=lambda code: None)
        store.write_draft(one, "C-7QXK", "0001.wav", b"x")
        with pytest.raises(RefusedError, match="a take is under way"):
            store.rekey(one, SECOND, tell=lambda code: None)
        store.erase_drafts(one, "C-7QXK")
        with store.outside(one, sealed.parent / "export"), pytest.raises(RefusedError, match="an export is being made"):
            store.rekey(one, SECOND, tell=lambda code: None)
    assert held(sealed) == before and not (sealed / ".rekeying").exists()


def test_a_plain_caseload_has_no_key_to_change(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["client", "add", "--age", "7y4m", "--caseload", str(tmp_path / "plain")]) == 0
    capsys.readouterr()
    assert run(["caseload", "rekey", "--caseload", str(tmp_path / "plain")]) == 3
    assert "not encrypted" in capsys.readouterr().err


def test_who_had_it_open_keeps_nothing_under_the_old_key(sealed: Path) -> None:
    with store.open_caseload(sealed) as early:
        with store.open_caseload(sealed) as one:
            store.rekey(one, FIRST, tell=lambda code: None)
        with pytest.raises(CaseloadError):
            store.change_client(early, "C-7QXK", {"reason": "later"})
        with pytest.raises(CaseloadError):
            store.keep_clip(early, b"more", ".flac") and store.codes(early)
    assert held(sealed)[0]["clients"][0]["reason"] == ""


def test_the_sheet_is_kept_apart(sealed: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    key = (sealed / "key.json").read_bytes()
    for place, words, code in (
        (sealed / "sheet.pdf", "kept apart", 3),
        (tmp_path / "sheet.txt", ".pdf or .html", 2),
        (tmp_path / "no" / "such" / "sheet.pdf", "", 3),
    ):
        assert run(["caseload", "rekey", "--sheet", str(place), "--caseload", str(sealed)]) == code
        captured = capsys.readouterr()
        assert words in captured.err and captured.err.count("\n") == 1 and not captured.out
    assert (sealed / "key.json").read_bytes() == key  # refused before anything is switched
    pdf = tmp_path / "sheet.pdf"
    assert run(["caseload", "rekey", "--sheet", str(pdf), "--caseload", str(sealed)]) == 0
    code = CODE.search(capsys.readouterr().out)
    assert code is not None
    text = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, text=True, check=True).stdout
    assert "".join(re.findall(r"\b[A-Z2-7]{4}\b", text)).startswith(code[0].replace("-", "")[:48])


@pytest.mark.parametrize("n", [40, pytest.param(500, marks=pytest.mark.long)])
def test_flipped_bits_in_key_records_and_sound_are_noticed(n: int, sealed: Path) -> None:
    """One bit a time, seeds 0 to n: a refusal in one line, or the very same rows and sound."""
    before = held(sealed)
    files = [sealed / "key.json", sealed / "caseload.sealed", *sealed.glob("audio/??/*")]
    found = Counter[str]()
    for seed in range(n):
        path = files[seed % len(files)]
        good = path.read_bytes()
        place = random.Random(seed).randrange(8 * len(good))
        changed = bytearray(good)
        changed[place // 8] ^= 1 << place % 8
        path.write_bytes(bytes(changed))
        try:
            assert held(sealed) == before, seed
            found["same"] += 1
        except SibilantError as refused:
            assert "\n" not in str(refused), seed
            found["refused"] += 1
        path.write_bytes(good)
    assert found["refused"] > n / 2 and held(sealed) == before
    if n >= 500:
        write_evidence("flipped_bits_sealed.csv", f"0-{n - 1}", found)


@pytest.mark.parametrize("n", [40, pytest.param(500, marks=pytest.mark.long)])
def test_each_flipped_bit_of_the_key_file_is_noticed(n: int, sealed: Path) -> None:
    """Spread over its bits, one a time: a refusal in one line, or ``check`` names it and all is as it was."""
    before, path = held(sealed), sealed / "key.json"
    good = path.read_bytes()
    assert wholeness.check(CaseloadHandle(sealed))["whole"]
    found = Counter[str]()
    places = random.Random(5).sample(range(8 * len(good)), n)
    for place in places:
        changed = bytearray(good)
        changed[place // 8] ^= 1 << place % 8
        path.write_bytes(bytes(changed))
        try:
            done = wholeness.check(CaseloadHandle(sealed))
            assert not done["whole"] and "key.json: changed since it was written" in done["damaged"][0], place
            assert held(sealed) == before, place
            found["told"] += 1
        except SibilantError as refused:
            assert "\n" not in str(refused), place
            found["refused"] += 1
    assert found["refused"] > n / 2 and sum(found.values()) == n
    path.write_bytes(good)
    assert held(sealed) == before
    if n >= 500:
        write_evidence("flipped_bits_key.csv", "5", found)


def test_a_changed_key_file_that_still_opens_is_renewed(sealed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = sealed / "key.json"
    path.write_bytes(path.read_bytes().replace(b'"format": 1', b'"format": 0'))
    assert not wholeness.check(CaseloadHandle(sealed))["whole"]
    assert run(["caseload", "passphrase", "--caseload", str(sealed)]) == 0
    monkeypatch.setenv("SIBILANT_PASSPHRASE", SECOND)
    assert wholeness.check(CaseloadHandle(sealed))["whole"]


def write_evidence(name: str, seeds: str, found: Counter[str]) -> None:
    """What the full count found, with its seeds and the commit it was run on."""
    root = Path(__file__).parents[2]
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=root, capture_output=True, text=True).stdout
    lines = [f"{kind},{found[kind]},{seeds},{commit.strip()}" for kind in sorted(found)]
    text = "\n".join(["ended,cases,seeds,commit", *lines]) + "\n"
    (root / "docs" / "evidence" / name).write_text(text, encoding="utf-8")
