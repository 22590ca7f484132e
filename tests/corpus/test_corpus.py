"""A corpus measured: rows, bad files, what is carried, going on after a kill, the same again to the byte."""

from __future__ import annotations

import csv
import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from sibilant import corpus
from sibilant.audio import write_wav
from sibilant.corpus import CorpusRequest
from sibilant.corpus.engines import check_scheduler, large_first
from sibilant.corpus.manifest import planned
from sibilant.corpus.parts import save_part
from sibilant.corpus.pieces import keep_allocator_quick, measured_piece
from sibilant.corpus.request import Piece
from sibilant.errors import InputError, ListError, OutputError, RecordingError, UsageError
from sibilant.lexicon import expect
from sibilant.synthetic import ProbePlan, probe, woman
from sibilant.tables import rounded, token_columns, write_table
from sibilant.tables.parquet import read_frame, write_parquet

WORDS = ("seal", "bus")


def rows_of(folder: Path) -> list[dict[str, str]]:
    with (folder / "tokens.csv").open(encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three invented recordings of two words in two folders, two broken files, and a manifest."""
    folder = tmp_path_factory.mktemp("corpus")
    prompts = [expect(word) for word in WORDS]
    names = ("b/one.wav", "a/two.wav", "a/three.wav")
    for number, name in enumerate(names):
        spoken = probe(prompts, woman(number), number, plan=ProbePlan(pause_s=(0.3, 0.4)))
        (folder / name).parent.mkdir(exist_ok=True)
        write_wav(folder / name, spoken.samples, spoken.sampling_rate_hz)
    (folder / "a/empty.wav").write_bytes(b"")
    (folder / "a/text.wav").write_text("not a sound")
    lines = ["recording,prompts,speaker,age,group"]
    lines += [
        f'{name},"seal, bus",S{n},7y{n}m,g{n % 2}' for n, name in enumerate((*names, "a/empty.wav", "a/text.wav"))
    ]
    (folder / "manifest.csv").write_text("\n".join([*lines, 'b/gone.wav,"seal, bus",S9,,g1', ""]))
    return folder


@pytest.fixture(scope="module")
def measured(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    to = tmp_path_factory.mktemp("measured") / "run"
    outcome = corpus.run(CorpusRequest(made / "manifest.csv", to))
    assert (outcome.n_recordings, outcome.n_unreadable, outcome.n_tokens) == (6, 3, 6)
    return to


def test_one_row_a_sibilant_and_bad_files_are_rows(measured: Path) -> None:
    rows = rows_of(measured)
    assert [row["recording"] for row in rows] == sorted(row["recording"] for row in rows)
    bad = {row["recording"]: row["flags"] for row in rows if row["finding"] == "unreadable"}
    assert set(bad) == {"a/empty.wav", "a/text.wav", "b/gone.wav"}
    assert "0 bytes" in bad["a/empty.wav"] and "no such file" in bad["b/gone.wav"]
    assert [row["prompt"] for row in rows if row["recording"] == "b/one.wav"] == list(WORDS)


def test_columns_are_carried_through(measured: Path) -> None:
    row = next(row for row in rows_of(measured) if row["recording"] == "b/one.wav")
    assert (row["speaker"], row["age"], row["group"]) == ("S0", "7y0m", "g0")
    assert float(row["centroid_hz"]) > 2000


def test_parquet_says_the_same_with_units(measured: Path) -> None:
    pq = pytest.importorskip("pyarrow.parquet")
    schema = pq.read_schema(measured / "tokens.parquet")
    assert schema.field("centroid_hz").metadata[b"unit"] == b"Hz"
    assert schema.field("centroid_hz").metadata[b"description"]
    one, other = (read_frame(measured / name) for name in ("tokens.csv", "tokens.parquet"))
    assert list(one.columns) == list(other.columns) and len(one) == len(other)
    for name in one.columns:
        if one[name].dtype.kind == "f" or other[name].dtype.kind == "f":
            np.testing.assert_allclose(one[name].astype(float), other[name].astype(float))
        else:
            assert list(one[name]) == list(other[name]), name


@pytest.mark.parametrize(("n", "sizes"), [(0, []), (25, [10, 10, 5]), (20, [10, 10])])
def test_row_groups_are_of_one_size(tmp_path: Path, n: int, sizes: list[int]) -> None:
    pq = pytest.importorskip("pyarrow.parquet")
    write_table(tmp_path / "t.csv", [{"recording": f"r{k}"} for k in range(n)])
    assert write_parquet(tmp_path / "t.parquet", tmp_path / "t.csv", rows_per_group=10) == n
    found = pq.ParquetFile(tmp_path / "t.parquet")
    assert [found.metadata.row_group(k).num_rows for k in range(found.num_row_groups)] == sizes


def test_parquet_holds_every_cell_as_it_was_written(tmp_path: Path) -> None:
    """Independent reader: pyarrow. Texts that CSV quotes or guards, and numbers at the ends of their columns."""
    pq = pytest.importorskip("pyarrow.parquet")
    texts = [
        "=1+1",
        "'=1",
        "'",
        "d'or",
        'say "so"',
        "a,b",
        "two\nlines",
        "one\rline",
        "both\r\nends",
        "\0",
        "é\u2028",
        "-",
    ]
    numbers = [0.0, -0.00001, 1e300, 12345.6789, float("nan"), float("inf"), -3.25, 0.05, 1.005, 2.675, 1e-9, None]
    rows = [{"prompt": t, "centroid_hz": x, "onset_s": x, "slot": k} for k, (t, x) in
            enumerate(zip(texts, numbers, strict=True))]  # fmt: skip
    write_table(tmp_path / "t.csv", rows)
    assert write_parquet(tmp_path / "t.parquet", tmp_path / "t.csv") == len(rows)
    found = pq.read_table(tmp_path / "t.parquet").to_pylist()
    columns = {column.name: column for column in token_columns()}
    for row, got in zip(rows, found, strict=True):
        assert {name: got[name] for name in row} == {name: rounded(x, columns[name]) for name, x in row.items()}
        assert got["recording"] is None


def test_described_columns_hold_by_frictionless(measured: Path) -> None:
    """Independent library: frictionless reads every described column with its datatype."""
    frictionless = pytest.importorskip("frictionless")
    described = json.loads((measured / "tokens.csv-metadata.json").read_text())["tableSchema"]["columns"]
    fields = [{"name": c["name"], "type": c["datatype"]} for c in described]
    schema = frictionless.Schema.from_descriptor({"fields": fields, "missingValues": [""]})
    report = frictionless.validate(frictionless.Resource(path="tokens.csv", basepath=str(measured), schema=schema))
    assert report.valid, report.flatten(["type", "note"])


def test_run_file_tells_all(measured: Path) -> None:
    told = json.loads((measured / "run.json").read_text())
    assert told["methods"][0]["name"] == "house-15k"
    assert set(told["versions"]) >= {"sibilant", "numpy", "scipy", "python"}
    assert len(told["recordings"]) == 6 and len(told["recordings"]["b/one.wav"]) == 64
    assert str(measured) not in json.dumps(told)
    assert not (measured / "parts").exists()


def test_going_on_gives_the_same_bytes(made: Path, measured: Path, tmp_path: Path) -> None:
    """A run that stopped with some parts done, one of them cut in half by a dying disk."""
    order = CorpusRequest(made / "manifest.csv", tmp_path / "run", resume=True)
    plan = planned(order)
    for piece in plan.pieces[:3]:
        save_part(order.to, piece, measured_piece(piece, plan.methods))
    half = sorted((order.to / "parts").rglob("*.json"))[0]
    half.write_text(half.read_text()[:40])
    outcome = corpus.run(order)
    assert outcome.n_reused == 2
    for name in ("tokens.csv", "tokens.parquet", "run.json"):
        assert (order.to / name).read_bytes() == (measured / name).read_bytes(), name


def test_a_part_that_goes_while_others_are_measured_is_said(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    order = CorpusRequest(made / "manifest.csv", tmp_path / "run", workers=1)

    def gone(to: Path, piece: Piece, part: str) -> None:
        if piece.recording != "a/two.wav":
            save_part(to, piece, part)

    monkeypatch.setattr("sibilant.corpus.parts.save_part", gone)
    with pytest.raises(OutputError, match=r"a/two\.wav is gone; go on by --resume"):
        corpus.run(order)
    assert not (order.to / "tokens.csv").exists()


def test_large_files_are_begun_first(made: Path) -> None:
    pieces = planned(CorpusRequest(made / "manifest.csv", made / "nowhere")).pieces
    ordered = large_first(pieces)
    sizes = [path.stat().st_size if (path := Path(piece.path)).exists() else 0 for piece in ordered]
    assert sizes == sorted(sizes, reverse=True) and sorted(ordered, key=lambda piece: piece.recording) == list(pieces)


def test_going_on_with_a_finished_run_measures_nothing(made: Path, measured: Path, tmp_path: Path) -> None:
    to = shutil.copytree(measured, tmp_path / "run")
    stamp = (to / "tokens.csv").stat().st_mtime_ns
    assert corpus.run(CorpusRequest(made / "manifest.csv", to, resume=True)).n_reused == 6
    assert (to / "tokens.csv").stat().st_mtime_ns == stamp


def test_an_earlier_run_is_not_overwritten(made: Path, measured: Path) -> None:
    with pytest.raises(OutputError, match="--resume"):
        corpus.run(CorpusRequest(made / "manifest.csv", measured))


def test_more_threads_give_the_same_bytes(made: Path, measured: Path, tmp_path: Path) -> None:
    corpus.run(CorpusRequest(made / "manifest.csv", tmp_path / "run", workers=5))
    assert (tmp_path / "run/tokens.csv").read_bytes() == (measured / "tokens.csv").read_bytes()


def test_verify_repeats_and_names_what_differs(made: Path, measured: Path, tmp_path: Path) -> None:
    assert "same to the byte" in corpus.verify(CorpusRequest(made / "manifest.csv", measured))[0]
    assert sorted(p.name for p in measured.iterdir() if p.name.startswith(".")) == []
    other = shutil.copytree(made, tmp_path / "other")
    shutil.copy(other / "a/two.wav", other / "a/three.wav")
    with pytest.raises(InputError, match=r"other sounds than then: a/three\.wav"):
        corpus.verify(CorpusRequest(other / "manifest.csv", measured))
    to = shutil.copytree(measured, tmp_path / "run")
    text = (to / "tokens.csv").read_text()
    (to / "tokens.csv").write_text(text.replace("b/one.wav", "b/uno.wav", 1))
    with pytest.raises(InputError, match=r"rows differ of b/uno\.wav"):
        corpus.verify(CorpusRequest(made / "manifest.csv", to))


def test_dry_run_says_what_and_why_not(made: Path) -> None:
    lines = corpus.preview(CorpusRequest(made / "manifest.csv", made / "nowhere"))
    assert lines[0] == "3 of 6 recordings would be measured under house-15k/2"
    assert any("b/one.wav: 2 sibilants expected in 2 prompts" in line for line in lines)
    assert any("a/text.wav: not measured" in line for line in lines)
    assert not (made / "nowhere").exists()


def test_dry_run_says_which_rate_rules_a_method_out(tmp_path: Path) -> None:
    write_wav(tmp_path / "low.wav", np.zeros(16000, np.float32), 16000)
    assert "16000 Hz is too low a rate" in corpus.preview(CorpusRequest(tmp_path, tmp_path / "to", ("house-15k",)))[1]


def test_a_folder_with_files_beside(made: Path, tmp_path: Path) -> None:
    """A CSV beside a recording gives its words or its marked stretches; other files are passed over and named."""
    for name in ("one", "two"):
        shutil.copy(made / "b/one.wav", tmp_path / f"{name}.wav")
    (tmp_path / "one.csv").write_text("word\nseal\nbus\n")
    (tmp_path / "two.csv").write_text("onset_s,offset_s,label\n0.50,0.65,s\n0.9,1.0,other\n")
    (tmp_path / "notes.txt").write_text("x")
    outcome = corpus.run(CorpusRequest(tmp_path, tmp_path / "to"))
    rows = rows_of(tmp_path / "to")
    assert outcome.n_tokens == 4
    marked = [row for row in rows if row["recording"] == "two.wav"]
    assert [(row["label"], row["phone"], row["finding"]) for row in marked] == [
        ("s", "S", "found"), ("other", "", "extra"),
    ]  # fmt: skip
    assert marked[0]["onset_s"] == "0.5000" and marked[0]["boundary"] == "reviewed"
    assert json.loads((tmp_path / "to/run.json").read_text())["passed_over"] == ["notes.txt"]


def test_stretches_marked_in_the_manifest(made: Path, tmp_path: Path) -> None:
    shutil.copy(made / "b/one.wav", tmp_path / "one.wav")
    (tmp_path / "m.csv").write_text(
        "recording,onset_s,offset_s,label,vowel\none.wav,0.50,0.65,s,i\none.wav,0.9,1.0,sh,u\n"
    )
    corpus.run(CorpusRequest(tmp_path / "m.csv", tmp_path / "to", ("house-15k", "house-10k")))
    found = [(r["label"], r["phone"], r["vowel"], r["method"]) for r in rows_of(tmp_path / "to")]
    assert found == [
        ("s", "S", "i", "house-15k/2"), ("sh", "SH", "u", "house-15k/2"),
        ("s", "S", "i", "house-10k/2"), ("sh", "SH", "u", "house-10k/2"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("file\nx.wav\n", "no column recording"),
        ("recording,flags\nx.wav,a\n", "rename it"),
        ("recording\n\n", "no recordings"),
        ("recording,speaker\n,A\n", "names no recording"),
        ("recording\nx.wav\nx.wav\n", "names x.wav again"),
        ("recording,onset_s,offset_s\nx.wav,2,1\n", "onset first"),
    ],
)
def test_manifests_that_cannot_be_used(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "m.csv").write_text(text)
    with pytest.raises(ListError, match=says):
        corpus.run(CorpusRequest(tmp_path / "m.csv", tmp_path / "to"))
    assert not (tmp_path / "to").exists()


def test_what_cannot_be_said_is_that_recordings_problem(made: Path, tmp_path: Path) -> None:
    shutil.copy(made / "b/one.wav", tmp_path / "one.wav")
    shutil.copy(made / "b/one.wav", tmp_path / "two.wav")
    (tmp_path / "m.csv").write_text('recording,prompts\none.wav,"seal, 7"\ntwo.wav,"seal, bus"\n')
    assert corpus.run(CorpusRequest(tmp_path / "m.csv", tmp_path / "to")).n_unreadable == 1
    assert "write numbers as words" in rows_of(tmp_path / "to")[0]["flags"]


def test_when_nothing_can_be_read(tmp_path: Path) -> None:
    (tmp_path / "x.wav").write_text("no")
    with pytest.raises(RecordingError, match="none of its 1 recordings"):
        corpus.run(CorpusRequest(tmp_path, tmp_path / "to"))
    assert rows_of(tmp_path / "to")[0]["finding"] == "unreadable"


def test_a_fault_in_one_file_is_told_and_ends_nothing(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sibilant import pipeline

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a planted fault")

    monkeypatch.setattr(pipeline, "analyse", broken)
    shutil.copy(made / "b/one.wav", tmp_path / "one.wav")
    with pytest.raises(RecordingError):
        corpus.run(CorpusRequest(tmp_path, tmp_path / "to", workers=1))
    assert "ZeroDivisionError: a planted fault" in rows_of(tmp_path / "to")[0]["flags"]


def test_a_scheduler_beyond_this_machine_only_over_tls() -> None:
    for fine in ("tcp://127.0.0.1:8786", "tcp://localhost:8786", "tcp://[::1]:8786", "tls://lab.example:8786"):
        check_scheduler(fine)
    for bad in ("tcp://lab.example:8786", "tcp://192.168.1.5:8786", "tcp://127.0.0.1.lab.example:8786", "nonsense"):
        with pytest.raises(UsageError):
            check_scheduler(bad)


def test_the_allocator_is_told_once() -> None:
    assert keep_allocator_quick() in (True, False)
    assert keep_allocator_quick.cache_info().currsize == 1


def test_command_line(made: Path, tmp_path: Path) -> None:
    from sibilant_cli.corpus import command

    done = CliRunner().invoke(command, [str(made / "manifest.csv"), "--to", str(tmp_path / "to"), "--json"])
    assert done.exit_code == 0, done.output
    assert "6 recordings, 6 rows" in json.loads(done.stdout)["lines"][0]
    assert done.stderr == ""


def test_exit_codes(made: Path, tmp_path: Path) -> None:
    from sibilant_cli.main import run

    assert run(["corpus", str(tmp_path / "none"), "--to", str(tmp_path / "to")]) == 3
    asked = ["corpus", str(made), "--to", str(tmp_path / "to")]
    assert run([*asked, "--scheduler", "tcp://10.1.2.3:8786"]) == 2
    assert run([*asked, "--dry-run", "--verify"]) == 2
    assert run([*asked, "--method", "nobody-2"]) == 3
    assert run([*asked, "--dry-run"]) == 0


def test_the_invented_corpus_is_built_by_one_command(tmp_path: Path) -> None:
    """A small Demo-S: the mark on every table, two broken files, two judges; in a process of its own, as spawn asks."""
    script = (
        "import sys; from pathlib import Path; from sibilant.demo.corpus import make_corpus\n"
        "if __name__ == '__main__': print('\\n'.join(make_corpus(Path(sys.argv[1]), n_speakers=1, n_words=2)))\n"
    )
    (tmp_path / "make.py").write_text(script)
    done = subprocess.run(
        [sys.executable, "make.py", "demo"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stdout.startswith("Invented data – not a person")
    demo = tmp_path / "demo"
    assert len(list((demo / "recordings").iterdir())) == 7
    for name in ("manifest.csv", "words.csv", "judgements.csv"):
        assert "Invented data – not a person" in (demo / f"{name}-metadata.json").read_text()
    outcome = corpus.run(CorpusRequest(demo / "manifest.csv", demo / "measured"))
    assert (outcome.n_recordings, outcome.n_unreadable, outcome.n_tokens) == (7, 2, 10)


def test_without_a_method_most_recordings_rates_say_which(tmp_path: Path) -> None:
    def planned_under(*rates: int) -> tuple[str, tuple[str, ...]]:
        folder = tmp_path / "-".join(map(str, rates))
        folder.mkdir()
        for number, rate in enumerate(rates):
            write_wav(folder / f"{number}.wav", np.zeros(rate, np.float32), rate)
        (folder / "broken.wav").write_text("not a sound")
        plan = planned(CorpusRequest(folder, tmp_path / "to"))
        return plan.methods[0].name, plan.notes

    assert planned_under(44_100, 48_000) == ("house-15k", ())
    assert planned_under(16_000, 16_000)[0] == "house-7k"
    assert planned_under(44_100, 44_100, 16_000) == (
        "house-15k",
        ("house-15k/2 is the widest house method for most rates (2 of 3 recordings); --method names another",),
    )
    assert planned_under(8_000)[0] == "house-7k"  # none holds it; the narrowest comes nearest
    named = CorpusRequest(tmp_path / "16000-16000", tmp_path / "to", ("house-15k",))
    assert planned(named).methods[0].name == "house-15k" and not planned(named).notes
