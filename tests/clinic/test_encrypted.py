"""The caseload encrypted: the clinician's month on it, and what somebody finds who holds its folder without the key.

Invented data – not a person.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from sibilant_cli.main import run

from sibilant import audio, lexicon, store, synthetic
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import CaseloadError, RefusedError

PASSPHRASE = "six blue horses walk"
NOTE = "plantednote about a cold"
WORDS = ("sock", "fossil", "glass", "rice", "pencil")
CODE = re.compile(r"(?:[A-Z2-7]{4}-){13}[A-Z2-7]{4}")
PLAIN_SIGNS = (b"C-7QXK", b"7QXK", b"plantednote", b"fLaC", b"RIFF", b"SQLite format 3", *(w.encode() for w in WORDS))


@pytest.fixture(scope="module")
def probe_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A spoken probe of an invented speaker."""
    path = tmp_path_factory.mktemp("sounds") / "probe.wav"
    said = synthetic.probe([lexicon.expect(word) for word in WORDS], synthetic.child_speaker(3), 5)
    audio.write_wav(path, said.samples, said.sampling_rate_hz, coding="pcm16")
    path.with_name("list.csv").write_text("word\n" + "\n".join(WORDS) + "\n", encoding="utf-8")
    return path


def filled(folder: Path, probe_file: Path) -> Path:
    """A caseload with one client and one probe, all of its sound kept."""
    at = ["--caseload", str(folder)]
    assert run(["client", "add", "--age", "7y4m", "--code", "C-7QXK", "--consent-by", "parent", *at]) == 0
    words = str(probe_file.with_name("list.csv"))
    assert run(["probe", "C-7QXK", str(probe_file), "--words", words, "--keep", "all", *at]) == 0
    assert run(["session", "change", "C-7QXK", "1", "--note", NOTE, *at]) == 0
    return folder


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory, probe_file: Path) -> Path:
    """A plain caseload, to be copied."""
    return filled(tmp_path_factory.mktemp("plain") / "case", probe_file)


@pytest.fixture
def folder(tmp_path: Path, plain: Path, monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None) -> Path:
    """A copy of the plain caseload; the passphrase is in the environment."""
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    return Path(shutil.copytree(plain, tmp_path / "case"))


@pytest.fixture
def sealed(folder: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """The same, encrypted."""
    assert run(["caseload", "encrypt", "--caseload", str(folder)]) == 0
    capsys.readouterr()
    return folder


def said(capsys: pytest.CaptureFixture[str], folder: Path, *arguments: str) -> str:
    """Standard output of a command that is done."""
    capsys.readouterr()
    code = run([*arguments, "--caseload", str(folder)])
    captured = capsys.readouterr()
    assert code == 0, captured.err
    return captured.out


def refused(capsys: pytest.CaptureFixture[str], folder: Path, *arguments: str) -> str:
    """The one line of a command that is refused."""
    capsys.readouterr()
    code = run([*arguments, "--caseload", str(folder)])
    captured = capsys.readouterr()
    assert code == 3 and captured.err.count("\n") == 1 and "Traceback" not in captured.err, captured.err
    assert PASSPHRASE not in captured.err and not captured.out
    return captured.err


def signs_in(folder: Path) -> list[tuple[str, bytes]]:
    """Every plain sign in the bytes or names of a folder's files, with where it stands."""
    found = []
    for path in folder.rglob("*"):
        content = path.read_bytes() if path.is_file() else b""
        found += [(path.name, sign) for sign in PLAIN_SIGNS if sign in content or sign in str(path.name).encode()]
    return found


def rows(folder: Path) -> store.Rows:
    """The client's rows by table."""
    with store.open_caseload(folder) as one:
        return store.dump_client(one, "C-7QXK")


def sounds(folder: Path) -> dict[str, bytes]:
    """Every kept sound by its hash, read as the program reads it."""
    found = rows(folder)
    named = {(row["sha256"], row["suffix"]) for row in found["clips"]}
    named |= {(row["clip_sha256"], row["clip_suffix"]) for row in found["recordings"]}
    with store.open_caseload(folder) as one:
        return {sha256: store.clip_bytes(one, sha256, suffix) for sha256, suffix in named}


def test_nothing_plain_is_left_in_any_byte(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before, heard = rows(folder), sounds(folder)
    assert {sign for _, sign in signs_in(folder)} == set(PLAIN_SIGNS) - {b"RIFF"}  # the signs are really there
    hashes = set(heard)
    out = said(capsys, folder, "caseload", "encrypt")
    assert signs_in(folder) == [] and CODE.search(out) and "encrypted, 6 sounds" in out
    assert rows(folder) == before and sounds(folder) == heard
    names = [str(path.relative_to(folder)) for path in folder.rglob("*")]
    assert not any(sha256[:12] in name for sha256 in hashes for name in names)
    folders = {path.name for path in folder.glob("audio/??")}
    assert folders == {path.name[:2] for path in folder.glob("audio/??/*")}  # no empty one tells how a hash began
    with store.open_caseload(folder) as one:
        assert store.audit_trail(one)[-1].action == "caseload encrypted"
    assert signs_in(folder) == []
    assert all(path.stat().st_size % 4096 == 29 for path in folder.glob("audio/??/*"))  # rounded up, and 29 bytes more


def test_side_files_of_the_database_are_encrypted_too(sealed: Path) -> None:
    """While it is open and written to, with its write-ahead log full."""
    with store.open_caseload(sealed) as one:
        store.change_client(one, "C-7QXK", {"reason": "plantednote again " * 500})
        assert (sealed / "caseload.sealed-wal").stat().st_size > 0
        assert signs_in(sealed) == []


def test_others_are_refused(folder: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Plain SQLite, a wrong passphrase, another caseload's database: each refused, nothing on standard error."""
    sealed = folder
    with store.open_caseload(folder) as one:
        store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    with pytest.raises(sqlite3.DatabaseError), sqlite3.connect(sealed / "caseload.sealed") as raw:
        raw.execute("SELECT * FROM sqlite_master")
    monkeypatch.setenv("SIBILANT_PASSPHRASE", "six blue horses run")
    with pytest.raises(CaseloadError, match="does not open this caseload") as wrong:
        store.open_caseload(sealed)
    assert "horses" not in str(wrong.value) and wrong.value.__cause__ is None
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    other = sealed.parent / "other"
    with store.open_caseload(other) as one:
        store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    shutil.copy(other / "caseload.sealed", sealed / "caseload.sealed")
    with pytest.raises(CaseloadError, match="under another key"):
        store.open_caseload(sealed)
    damaged = bytearray((other / "caseload.sealed").read_bytes())
    damaged[5000] ^= 1
    (other / "caseload.sealed").write_bytes(bytes(damaged))
    with pytest.raises(CaseloadError, match="backup in its place"):
        store.open_caseload(other)
    assert capfd.readouterr().err == ""


def test_no_passphrase_is_one_line(
    sealed: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("SIBILANT_PASSPHRASE")
    for arguments in (["client", "list"], ["caseload", "decrypt"], ["progress", "C-7QXK"], ["caseload", "passphrase"]):
        assert "set SIBILANT_PASSPHRASE, or work in a terminal" in refused(capsys, sealed, *arguments)
    with pytest.raises(CaseloadError, match="no passphrase was given"):
        store.open_caseload(sealed)
    status = json.loads(said(capsys, sealed, "caseload", "status", "--json"))  # asks nobody
    assert status["encrypted"] and status["records_encrypted"] and status["sounds_encrypted"] == status["sounds"] == 6
    assert status["notes"] == []


def test_without_the_extra_the_line_names_it(
    sealed: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("sqlcipher3", "cryptography", "zxcvbn"):
        with monkeypatch.context() as without:
            without.setitem(sys.modules, name, None)
            assert 'pip install "sibilant[private]"' in refused(capsys, sealed, "client", "list")
            without.setitem(sys.modules, name, None)
            other = sealed.parent / f"new-{name}"
            assert 'pip install "sibilant[private]"' in refused(capsys, other, "caseload", "encrypt")


def test_missing_parts_are_one_line(sealed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept = (sealed / "key.json").read_bytes()
    (sealed / "key.json").write_bytes(kept[:100])
    assert "key.json: damaged" in refused(capsys, sealed, "client", "list")
    (sealed / "key.json").unlink()
    for arguments in (["client", "list"], ["client", "add", "--age", "8y"], ["caseload", "encrypt"]):
        assert "key.json is missing; put it back" in refused(capsys, sealed, *arguments)
    (sealed / "key.json").write_bytes(kept)
    (sealed / "caseload.sealed").unlink()
    for arguments in (["client", "list"], ["client", "add", "--age", "8y"]):
        assert "caseload.sealed is missing" in refused(capsys, sealed, *arguments)
    assert not (sealed / "caseload.sqlite").exists()


def test_a_changed_exchanged_or_lost_sound_is_noticed(sealed: Path, tmp_path: Path) -> None:
    first, second, *_ = sorted(sealed.glob("audio/??/*"))
    kept = first.read_bytes(), second.read_bytes()
    assert len(sounds(sealed)) == 6
    for changed in (kept[0][:-1] + bytes([kept[0][-1] ^ 1]), kept[0][:5] + b"\0" + kept[0][6:], kept[1], b"", b"short"):
        first.write_bytes(changed)
        with pytest.raises(CaseloadError, match="bytes have changed"):
            sounds(sealed)
        with store.open_caseload(sealed) as one, pytest.raises(CaseloadError, match="bytes have changed"):
            store.decrypt(one)
        assert store.is_encrypted(sealed) and signs_in(sealed) == []  # what was opened already is erased again
    first.unlink()
    with pytest.raises(CaseloadError, match="not in the caseload's audio folder"):
        sounds(sealed)


def test_a_damaged_sound_stops_encryption_and_the_caseload_stays_plain(folder: Path) -> None:
    before = rows(folder)
    path = sorted(folder.glob("audio/??/*"))[2]
    path.write_bytes(path.read_bytes() + b"\0")
    told: list[str] = []
    with store.open_caseload(folder) as one, pytest.raises(CaseloadError, match="bytes have changed"):
        store.encrypt(one, PASSPHRASE, tell=told.append)
    assert told == [] and not store.is_encrypted(folder) and rows(folder) == before
    assert not list(folder.rglob("*.sealed")) and not list(folder.rglob("*.made"))


def test_there_and_back_gives_the_same_rows_and_sounds(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before, heard = rows(folder), sounds(folder)
    files = {path.relative_to(folder) for path in folder.rglob("*") if path.is_file()}
    said(capsys, folder, "caseload", "encrypt")
    assert "encrypted already" in refused(capsys, folder, "caseload", "encrypt")
    out = json.loads(said(capsys, folder, "caseload", "decrypt", "--json"))
    assert out["sounds"] == 6 and not out["encrypted"] and "not encrypted" in out["notes"][0]
    assert rows(folder) == before and sounds(folder) == heard
    assert {path.relative_to(folder) for path in folder.rglob("*") if path.is_file()} == files
    assert "not encrypted" in refused(capsys, folder, "caseload", "decrypt")
    assert "not encrypted" in refused(capsys, folder, "caseload", "passphrase")
    assert "not encrypted" in refused(capsys, folder, "caseload", "passphrase", "--recover")


def test_a_fresh_caseload_starts_encrypted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None
) -> None:
    monkeypatch.setenv("SIBILANT_PASSPHRASE", PASSPHRASE)
    folder = tmp_path / "new" / "case"
    said(capsys, folder, "caseload", "encrypt")
    assert run(["client", "add", "--age", "7y4m", "--code", "C-7QXK", "--caseload", str(folder)]) == 0
    assert "caution" not in capsys.readouterr().err  # nothing is said of what is not so
    assert signs_in(folder) == [] and folder.stat().st_mode & 0o077 == 0


def test_a_new_passphrase_and_the_recovery_code(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    found = CODE.search(said(capsys, folder, "caseload", "encrypt"))
    assert found is not None
    before, sealed_before = rows(folder), {p.name: p.read_bytes() for p in folder.glob("audio/??/*")}
    monkeypatch.setenv("SIBILANT_NEW_PASSPHRASE", "short")
    assert "shorter than 12" in refused(capsys, folder, "caseload", "passphrase")
    monkeypatch.setenv("SIBILANT_NEW_PASSPHRASE", "seven green horses")
    said(capsys, folder, "caseload", "passphrase")
    assert "does not open" in refused(capsys, folder, "client", "list")
    monkeypatch.setenv("SIBILANT_PASSPHRASE", "seven green horses")
    assert rows(folder) == before
    assert {p.name: p.read_bytes() for p in folder.glob("audio/??/*")} == sealed_before  # only wrapped anew
    monkeypatch.setenv("SIBILANT_PASSPHRASE", "forgotten for good")
    monkeypatch.setenv("SIBILANT_NEW_PASSPHRASE", "eight grey horses")
    monkeypatch.setenv("SIBILANT_RECOVERY_CODE", found[0][:-1] + ("A" if found[0][-1] != "A" else "B"))
    assert "no recovery code" in refused(capsys, folder, "caseload", "passphrase", "--recover")
    monkeypatch.setenv("SIBILANT_RECOVERY_CODE", store_code(bytes(32)))
    assert "another caseload's" in refused(capsys, folder, "caseload", "passphrase", "--recover")
    monkeypatch.setenv("SIBILANT_RECOVERY_CODE", found[0].lower())
    for lost in (False, True):
        if lost:
            (folder / "key.json").unlink()
        said(capsys, folder, "caseload", "passphrase", "--recover")
        monkeypatch.setenv("SIBILANT_PASSPHRASE", "eight grey horses")
        assert rows(folder) == before
    with store.open_caseload(folder) as one:
        trail = store.audit_trail(one)
    assert [entry.action for entry in trail][-4:] == [
        "caseload encrypted", "passphrase changed", *2 * ["passphrase set by the recovery code"],
    ]  # fmt: skip
    told = json.dumps([entry.detail for entry in trail])
    assert "horses" not in told and found[0][:9] not in told


def store_code(key: bytes) -> str:
    """The recovery code of a key."""
    from sibilant.store.keys import recovery_code

    return recovery_code(key)


def test_json_and_errors_hold_no_secret(
    folder: Path, capsys: pytest.CaptureFixture[str], caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(0)
    capsys.readouterr()
    assert run(["caseload", "encrypt", "--json", "--caseload", str(folder)]) == 0
    captured = capsys.readouterr()
    code = CODE.search(captured.err)
    assert code is not None and not CODE.search(captured.out) and json.loads(captured.out)["encrypted"]
    with store.open_caseload(folder) as one:
        assert one.keys is not None
        secrets = [PASSPHRASE, code[0], one.keys.database.hex(), one.keys.sound.hex(), one.keys.names.hex()]
        shown = [repr(one), repr(one.keys), repr(one.engine), str(one.engine.url), repr(one.place), repr(vars(one))]
        with pytest.raises(CaseloadError) as failed, one.read() as connection:
            connection.exec_driver_sql("SELECT nothing FROM nowhere")
        shown += [str(failed.value), repr(failed.value.__cause__), caplog.text]
    shown += [said(capsys, folder, "caseload", "status", "--json"), said(capsys, folder, "client", "show", "--json")]
    shown.append((folder / "key.json").read_text(encoding="utf-8"))
    assert not [secret for secret in secrets for text in shown if secret in text]


def test_what_was_opened_before_is_refused_after(folder: Path, probe_file: Path) -> None:
    """A program that had the plain caseload open keeps nothing plain once it is encrypted, and the reverse."""
    with store.open_caseload(folder) as early:
        with store.open_caseload(folder) as one:
            store.encrypt(one, PASSPHRASE, tell=lambda code: None)
        for work in (
            lambda: store.codes(early),
            lambda: store.change_client(early, "C-7QXK", {"reason": "x"}),
            lambda: store.remember(early, {"last_client": "C-7QXK"}),
            lambda: store.write_draft(early, "C-7QXK", "1", b"x"),
            lambda: store.encrypt(early, PASSPHRASE, tell=lambda code: None),
        ):
            with pytest.raises(CaseloadError, match="encrypted or decrypted meanwhile"):
                work()
        with pytest.raises(CaseloadError, match="meanwhile"), store.at_work(early):
            pass
    assert signs_in(folder) == [] and not (folder / "caseload.sqlite").exists()


def test_another_program_at_work_stops_it(folder: Path) -> None:
    with store.open_caseload(folder) as one, store.open_caseload(folder) as other, store.at_work(other):
        with pytest.raises(CaseloadError, match="another program is at work"):
            store.encrypt(one, PASSPHRASE, tell=lambda code: None)
    assert not store.is_encrypted(folder) and len(sounds(folder)) == 6


def test_a_restored_plain_database_is_left_alone_and_named(
    folder: Path, plain: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said(capsys, folder, "caseload", "encrypt")
    shutil.copy(plain / "caseload.sqlite", folder / "caseload.sqlite")
    said(capsys, folder, "client", "list")
    notes = json.loads(said(capsys, folder, "caseload", "status", "--json"))["notes"]
    assert (folder / "caseload.sqlite").exists() and "caseload.sqlite lies beside it" in notes[0]


def test_records_are_not_led_into_another_database(sealed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Who can write into the folder can't have the records sent to a database of theirs."""
    (sealed / "caseload.toml").write_text("url = 'postgresql://them@127.0.0.1:1/theirs'\n", encoding="utf-8")
    for arguments in (["client", "add", "--age", "8y"], ["client", "list"], ["caseload", "decrypt"]):
        assert "another kind of database than it was encrypted with" in refused(capsys, sealed, *arguments)
    content = json.loads((sealed / "key.json").read_text(encoding="utf-8"))
    (sealed / "key.json").write_text(json.dumps({**content, "records_too": False}), encoding="utf-8")
    assert "does not open this caseload" in refused(capsys, sealed, "client", "list")


def test_work_under_way_is_sealed(sealed: Path, plain: Path) -> None:
    with store.open_caseload(sealed) as one:
        store.write_draft(one, "C-7QXK", "0001.wav", b"RIFF plantednote")
        store.write_draft(one, "C-7QXK", "take.json", b"{}")
        assert store.has_draft(one, "C-7QXK", "0001.wav") and not store.has_draft(one, "C-M4RT", "0001.wav")
        assert store.read_draft(one, "C-7QXK", "0001.wav") == b"RIFF plantednote" and signs_in(sealed) == []
        with pytest.raises(RefusedError, match="a take is under way"):
            store.decrypt(one)
        assert store.erase_drafts(one, "C-7QXK") == 2 and store.erase_drafts(one, "C-7QXK") == 0
        with pytest.raises(CaseloadError, match="throw the take away"):
            store.read_draft(one, "C-7QXK", "0001.wav")


@pytest.mark.parametrize("form", ["plain", "encrypted"])
def test_the_clinicians_month(
    form: str, folder: Path, probe_file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Judge, review, progress, report, export, import, remove: the same in both forms, nothing plain in the folder."""
    if form == "encrypted":
        said(capsys, folder, "caseload", "encrypt")

    def still() -> None:
        assert form == "plain" or signs_in(folder) == []

    again = ["probe", "C-7QXK", str(probe_file), "--words", str(probe_file.with_name("list.csv"))]
    assert "kept already, as session 1 of C-7QXK" in refused(capsys, folder, *again)
    judged = tmp_path / "j.csv"
    judged.write_text("prompt_index,attempt,slot,accuracy,note\n" + "".join(
        f"{i},1,1,correct,plantednote\n" for i in range(1, 6)), encoding="utf-8")  # fmt: skip
    assert "5 of 5 correct" in said(capsys, folder, "judge", "--from", str(judged), "--rater", "R1")
    still()
    tokens = json.loads(said(capsys, folder, "session", "show", "--json"))["tokens"]
    assert len(tokens) == 5 and tokens[0]["centroid_hz"] > 3000
    with store.open_caseload(folder) as one:
        edges = store.read_case(one, "C-7QXK").tokens[0].sound.edges.interval
    reviewed = tmp_path / "r.csv"
    reviewed.write_text(
        f"prompt_index,attempt,slot,onset_s,offset_s\n1,1,1,{edges.onset_s + 0.01:.4f},{edges.offset_s:.4f}\n",
        encoding="utf-8",
    )
    done = json.loads(said(capsys, folder, "review", "--from", str(reviewed), "--rater", "R1", "--json"))
    assert done["measured_again"] == 1 and done["without_sound"] == 0  # from the kept word, opened in memory
    still()
    assert re.search(r"\d{4} Hz \(", said(capsys, folder, "progress", "C-7QXK"))
    said(capsys, folder, "report", "C-7QXK", "--kind", "monthly", "--to", str(tmp_path / "m.html"))
    assert "C-7QXK" in (tmp_path / "m.html").read_text(encoding="utf-8")
    said(capsys, folder, "export", "C-7QXK", "--to", str(tmp_path / "out"), "--audio")
    exported = {path.stem for path in (tmp_path / "out" / "audio").iterdir()}
    assert exported == set(sounds(folder))  # an export is plain by its nature
    still()
    receipt = said(capsys, folder, "client", "remove", "C-7QXK", "--all", "--erase")
    assert receipt.count("erased: sound") == 6 and not list(folder.glob("audio/??/*"))
    still()
    said(capsys, folder, "import", str(tmp_path / "out"))
    assert len(sounds(folder)) == 6
    still()


def test_blind_judging_goes_on_without_a_file_to_open(sealed: Path) -> None:
    from sibilant.clinic import judge

    queue = judge.queue(CaseloadHandle(sealed), "C-7QXK", None, rater="R1")
    assert len(queue.left) == 5 and all(one.sealed and one.clip == "" for one in queue.left)


def test_a_plain_caseload_loads_no_cipher(plain: Path) -> None:
    script = (
        "import sys\nfrom sibilant_cli.main import run\n"
        f"assert run(['client', 'list', '--caseload', {str(plain)!r}]) == 0\n"
        f"assert run(['session', 'show', 'C-7QXK', '1', '--caseload', {str(plain)!r}]) == 0\n"
        "assert not {'cryptography', 'sqlcipher3'} & {name.split('.')[0] for name in sys.modules}"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_unlocking_at_the_start_says_whether_it_is_encrypted(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the page does, so that nobody is asked in the middle of it."""
    from sibilant.clinic import encryption

    assert not encryption.unlock(CaseloadHandle(folder))
    said(capsys, folder, "caseload", "encrypt")
    assert encryption.unlock(CaseloadHandle(folder))
    monkeypatch.setenv("SIBILANT_PASSPHRASE", "six blue horses run")
    with pytest.raises(CaseloadError, match="does not open"):
        encryption.unlock(CaseloadHandle(folder))


def test_adding_a_client_says_what_is_so(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for encrypted in (False, True):
        if encrypted:
            said(capsys, folder, "caseload", "encrypt")
        capsys.readouterr()
        assert run(["client", "add", "--age", "7y4m", "--caseload", str(folder)]) == 0
        assert ("not encrypted" in capsys.readouterr().err) != encrypted


def test_the_passphrase_is_asked_in_a_terminal_without_showing_it(tmp_path: Path) -> None:
    """In a terminal of its own: asked twice when new, once to open, and shown nowhere."""
    pty = pytest.importorskip("pty")
    folder = tmp_path / "case"
    environment = {k: v for k, v in os.environ.items() if not k.startswith("SIBILANT_")}

    def in_terminal(*arguments: str, answers: list[str]) -> str:
        child, terminal = pty.fork()
        if not child:
            script = "import sys\nfrom sibilant_cli.main import run\nsys.exit(run(sys.argv[1:]))"
            os.execve(
                sys.executable, [sys.executable, "-c", script, *arguments, "--caseload", str(folder)], environment
            )
        shown = b""
        while True:
            try:
                shown += os.read(terminal, 4096)
            except OSError:  # the other end is closed
                break
            if answers and shown.rstrip(b" ").endswith(b":") and shown.count(b": ") > shown.count(b": \r\n"):
                os.write(terminal, answers.pop(0).encode() + b"\n")
        os.waitpid(child, 0)
        os.close(terminal)
        return shown.decode()

    shown = in_terminal("caseload", "encrypt", answers=[PASSPHRASE, "another thing"])
    assert "the two differ" in shown and not store.is_encrypted(folder)
    shown = in_terminal("caseload", "encrypt", answers=[PASSPHRASE, PASSPHRASE])
    assert CODE.search(shown) and store.is_encrypted(folder) and "horses" not in shown
    shown = in_terminal("client", "list", answers=[PASSPHRASE])
    assert "passphrase of caseload case" in shown and "client  age" in shown and "horses" not in shown


def test_an_open_encrypted_caseload_leaves_no_core_dump(sealed: Path) -> None:
    """In a process of its own, which asks for core dumps first."""
    script = (
        "import resource, sys, pathlib; from sibilant import store;"
        "hard = resource.getrlimit(resource.RLIMIT_CORE)[1];"
        "resource.setrlimit(resource.RLIMIT_CORE, (hard, hard)); before = resource.getrlimit(resource.RLIMIT_CORE)[0];"
        "store.open_caseload(pathlib.Path(sys.argv[1])).close();"
        "print(before != 0, resource.getrlimit(resource.RLIMIT_CORE)[0])"
    )
    done = subprocess.run([sys.executable, "-c", script, str(sealed)], capture_output=True, text=True, check=True)
    could, now = done.stdout.split()
    if could == "False":
        pytest.skip("core dumps are off on this machine, and can't be had")
    assert now == "0"
