"""Hostile exports whose own hashes are right: refused by file, row and column, and nothing else is touched."""

from __future__ import annotations

import base64
import csv
import hashlib
import importlib.util
import io
import json
import random
import shutil
import struct
import subprocess
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from sibilant import store
from sibilant.clinic import exchange, summarise
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import CaseloadError, InputError, SibilantError
from sibilant.store.surroundings import _packed
from sibilant.terms.clinic import Client

Rows = list[dict[str, str]]
NASTY = (
    "", "x", "-1", "1e400", "nan", "99999999999999999999", "=cmd", "../../x", "\u202e", "<b>", "{}", "[]", '{"a":',
    "null", "9" * 400, "0", "-999999", "C-0000", "a\x01b",
)  # fmt: skip
N_SHARE, N_ALL = 40, 400


@pytest.fixture(scope="module")
def export(tmp_path_factory: pytest.TempPathFactory, material: ModuleType) -> Path:
    spec = importlib.util.spec_from_file_location("of_exchange", Path(__file__).parent / "test_exchange.py")
    assert spec is not None and spec.loader is not None
    filled = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(filled)
    folder = tmp_path_factory.mktemp("door")
    filled.fill(folder / "one", material, n_sessions=2)
    exchange.export_client(CaseloadHandle(folder / "one"), "C-7QXK", folder / "out", audio=True)
    return folder / "out"


def changed(
    export: Path, to: Path, table: str, change: Callable[[Rows], None], described: Callable | None = None
) -> Path:
    """A copy of the export with one table changed and the hashes made right again."""
    shutil.rmtree(to, ignore_errors=True)
    shutil.copytree(export, to)
    rows = list(csv.DictReader(io.StringIO((to / f"{table}.csv").read_text(encoding="utf-8"), newline="")))
    head = list(rows[0])
    change(rows)
    text = io.StringIO()
    writer = csv.DictWriter(
        text, [*head, *(key for key in rows[0] if key not in head)], lineterminator="\n", extrasaction="ignore"
    )
    writer.writeheader()
    writer.writerows(rows)
    (to / f"{table}.csv").write_text(text.getvalue(), encoding="utf-8")
    content = json.loads((to / "export.json").read_text(encoding="utf-8"))
    content["files"] = {name: hashlib.sha256((to / name).read_bytes()).hexdigest() for name in content["files"]}
    if described is not None:
        described(content)
    (to / "export.json").write_text(json.dumps(content), encoding="utf-8")
    return to


def with_another(folder: Path) -> Path:
    """A caseload with another client in it."""
    import datetime as dt

    with store.open_caseload(folder) as one:
        store.add_client(one, Client("C-M4RT", 90, dt.date(2026, 1, 12)))
    return folder


@pytest.mark.parametrize(
    ("table", "column", "cell", "words"),
    [
        ("clients", "code", "../../victim", r"clients.csv: row 1, column code: "),
        ("clients", "retention", "x", r"clients.csv: row 1, column retention"),
        ("clients", "consent", "x", r"clients.csv: row 1, column consent"),
        ("clients", "age_months", "-3", r"clients.csv: row 1, column age_months"),
        ("methods", "definition", '"', r"methods.csv: row 1, column definition"),
        ("tokens", "observed", "{}", r"tokens.csv: row 1, column observed: 'prompt_text' is missing"),
        ("measurements", "measured", "[]", r"measurements.csv: row 1, column measured"),
        ("sessions", "held_on_day", "99999999999", r"sessions.csv: row 1, column held_on_day"),
        ("judgements", "heard", "fine", r"judgements.csv: row 1, column heard"),
        ("clips", "sha256", "0" * 64, r"export.json: sounds"),
        (
            "recordings",
            "suitability",
            '{"snr_db":1e400}',
            r"recordings.csv: row 1, column suitability: snr_db: inf is out",
        ),
        (
            "recordings",
            "suitability",
            '{"a":' * 9 + "1" + "}" * 9,
            r"recordings.csv: row 1, column suitability: .*too deep",
        ),
        ("events", "what", "a\x01b", r"events.csv: row 1, column what: holds a control character"),
        ("surroundings", "noise", '{"dof":300}', r"surroundings.csv: row 1, column noise: a noise spectrum has dof"),
        ("surroundings", "noise", "", r"surroundings.csv: row 1, column noise: a sound rests on a noise that is not"),
        ("surroundings", "cut_hz", "-1.0", r"surroundings.csv: row 1, column cut_hz"),
        ("surroundings", "prompt_index", "77", r"surroundings.csv: row 1, column prompt_index: 77 is no prompt of its"),
        ("surroundings", "sounds", '{"x":{}}', r"surroundings.csv: row 1, column sounds: 'x' is no place of a sound"),
        ("surroundings", "sounds", '{"1.1.1":{}}', r"surroundings.csv: row 1, column sounds: 1.1.1: 'bandwidth_hz'"),
    ],
)
def test_one_bad_cell_is_refused_by_name(
    export: Path, tmp_path: Path, table: str, column: str, cell: str, words: str
) -> None:
    def bad(rows: Rows) -> None:
        rows[0][column] = cell

    caseload = with_another(tmp_path / "two")
    with pytest.raises(InputError, match=words):
        exchange.import_folder(CaseloadHandle(caseload), changed(export, tmp_path / "bad", table, bad))
    with store.open_caseload(caseload) as one:
        assert [client.code for client in store.clients(one)] == ["C-M4RT"]
        assert store.look_at_rows(one).damaged == () and not list((caseload / "audio").glob("??/*"))
    exchange.import_folder(CaseloadHandle(caseload), export)  # the same export, unchanged, still comes in
    with store.open_caseload(caseload) as one:
        assert store.codes(one) == ("C-7QXK", "C-M4RT")


def doubles(values: list[float]) -> str:
    """Numbers as earlier programs kept those of a noise."""
    return base64.b64encode(struct.pack(f"<{len(values)}d", *values)).decode()


@pytest.mark.parametrize("values", [[-1.0, 1.0], [float("nan"), 1.0], [1.0], "bm8gemxpYg=="])
@pytest.mark.parametrize("earlier", [True, False])
def test_a_noise_that_is_none_is_refused_by_name(
    export: Path, tmp_path: Path, values: list[float] | str, *, earlier: bool
) -> None:
    def other(rows: Rows) -> None:
        kept = json.loads(rows[0]["noise"])
        if earlier:
            odd = {"power_density": values if isinstance(values, str) else doubles(values), "drift": doubles([0.0] * 2)}
        else:
            odd = {"power": values if isinstance(values, str) else _packed(np.array(values)),
                   "drift_share": kept["drift_share"]}  # fmt: skip
        rows[0]["noise"] = json.dumps({"dof": kept["dof"], **odd})

    with pytest.raises(InputError, match=r"surroundings\.csv: row 1, column noise"):
        exchange.import_folder(
            CaseloadHandle(tmp_path / "two"), changed(export, tmp_path / "bad", "surroundings", other)
        )


def test_an_export_without_surroundings_is_an_earlier_one(export: Path, tmp_path: Path) -> None:
    def without(content: dict) -> None:
        del content["files"]["surroundings.csv"]

    earlier = changed(export, tmp_path / "earlier", "events", lambda rows: None, without)
    exchange.import_folder(CaseloadHandle(tmp_path / "two"), earlier)
    with store.open_caseload(tmp_path / "two") as one:
        assert store.read_surroundings(one, "C-7QXK") == {} and store.read_case(one, "C-7QXK").tokens


def test_a_second_method_row_that_is_not_this_programs_is_refused(export: Path, tmp_path: Path) -> None:
    def other(rows: Rows) -> None:
        rows[0]["definition"] = rows[0]["definition"].replace("15000.0", "12000.0")

    with pytest.raises(InputError, match=r"methods.csv: row 1, column definition: is not that of house-15k"):
        exchange.import_folder(CaseloadHandle(tmp_path / "two"), changed(export, tmp_path / "bad", "methods", other))


@pytest.mark.parametrize("sounds", [None, [1], ["../x"], ["x" * 300], {"a": 1}, ["x", "x"]])
def test_a_list_of_sounds_that_is_none_is_refused(export: Path, tmp_path: Path, sounds: object) -> None:
    folder = changed(
        export, tmp_path / "bad", "events", lambda rows: None, lambda content: content.update(sounds=sounds)
    )
    with pytest.raises(InputError, match=r"export\.json"):
        exchange.import_folder(CaseloadHandle(tmp_path / "two"), folder)


def test_only_a_client_code_names_a_folder_of_work_under_way(tmp_path: Path) -> None:
    with store.open_caseload(tmp_path / "one") as one, pytest.raises(CaseloadError, match="not a client code"):
        store.draft_folder(one, "../../victim")


def mutated(export: Path, to: Path, seed: int) -> Path:
    """One seeded change: a cell, a column's name, or a value of export.json."""
    chosen = random.Random(seed)
    tables = [
        table for table in store.table_names() if (export / f"{table}.csv").read_text(encoding="utf-8").count("\n") > 1
    ]
    table, kind = chosen.choice(tables), chosen.randrange(4)

    def cell(rows: Rows) -> None:
        row = chosen.choice(rows)
        row[chosen.choice(list(row))] = chosen.choice(NASTY)

    def column(rows: Rows) -> None:
        name = chosen.choice(list(rows[0]))
        for row in rows:
            row["zz"] = row.pop(name)

    def described(content: dict) -> None:
        content[chosen.choice(list(content))] = chosen.choice([None, [], {}, 1, "x", ["x" * 300], [1], {"a": 1}])

    if kind == 0:
        return changed(export, to, table, lambda rows: None, described)
    return changed(export, to, table, cell if kind < 3 else column)


def tried(export: Path, folder: Path, seed: int) -> str:
    """Import one mutation: refused in one line, or kept and then whole and readable."""
    caseload = folder / "caseload"
    shutil.rmtree(caseload, ignore_errors=True)
    try:
        exchange.import_folder(CaseloadHandle(caseload), mutated(export, folder / "mutated", seed))
    except SibilantError as error:
        assert "\n" not in str(error) and str(folder) not in str(error), seed
        return "refused"
    view, _ = summarise.case_view(CaseloadHandle(caseload), None)
    with store.open_caseload(caseload) as one:
        assert store.look_at_rows(one).damaged == (), seed
    return "kept" if view.summaries else "kept, empty"


def test_mutated_imports_are_refused_or_whole(export: Path, tmp_path: Path) -> None:
    assert tried(export, tmp_path, -1) in {"kept", "refused"}
    found = Counter(tried(export, tmp_path, seed) for seed in range(N_SHARE))
    assert found["refused"] >= N_SHARE // 3 and found["kept"] >= 2, found


@pytest.mark.long
def test_four_hundred_mutated_imports(export: Path, tmp_path: Path) -> None:
    found = Counter(tried(export, tmp_path, seed) for seed in range(N_ALL))
    assert sum(found.values()) == N_ALL and found["refused"] >= N_ALL // 3 and found["kept"] >= N_ALL // 20, found
    write_evidence("mutated_imports.csv", N_ALL, found)


def write_evidence(name: str, n_cases: int, found: Counter[str]) -> None:
    """What the full count found, with the commit it was run on; seeds are 0 to the count."""
    root = Path(__file__).parents[2]
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=root, capture_output=True, text=True).stdout
    head = ["seeds", *sorted(found), "tracebacks", "commit"]
    cells = [f"0-{n_cases - 1}", *(found[kind] for kind in sorted(found)), 0, commit.strip()]
    with (root / "docs" / "evidence" / name).open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream, lineterminator="\n").writerows([head, cells])
