"""The whole study: what is left out, both designs, judges, edges, the run file and what is told from it."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from sibilant.errors import ListError, UsageError
from sibilant.research.study import StudyRequest, run_study
from sibilant.study import (
    CAUTION,
    Question,
    compare,
    normalisations,
    prepare,
    soft_effects,
)
from sibilant.study.effects import all_effects
from sibilant.tables import token_columns

INVENTED = "Invented data – not a person"
KINDS = ("frontal", "lateral", "typical")


def table(
    *, between: bool = False, n_speakers: int = 9, n_words: int = 8, seed: int = 1, sh: bool = True
) -> pd.DataFrame:
    """Rows as a corpus run writes them, invented: three ways of saying /s/, and each speaker's own /sh/."""
    rng = np.random.default_rng(seed)
    rows = []
    for s in range(n_speakers):
        own = rng.normal(0, 500)
        kinds = (KINDS[s % 3],) if between else KINDS
        for kind in kinds:
            for w in range(n_words):
                middle = {"frontal": 7000.0, "lateral": 4500.0, "typical": 8000.0}[kind] + own + 40 * w
                rows.append(row(s, kind, w, "S", middle + rng.normal(0, 200), rng))
        if sh:
            rows += [row(s, kinds[0], 50 + w, "SH", 4000 + own + rng.normal(0, 200), rng) for w in range(12)]
    rows.append({**row(0, "typical", 1, "S", 1.0, rng), "finding": "no_frication", "centroid_hz": math.nan})
    rows.append({**row(0, "typical", 2, "S", 1.0, rng), "voice": "other"})
    rows.append({**row(0, "typical", 3, "S", 1.0, rng), "counts": "no"})
    rows.append({**row(0, "", 4, "S", 1.0, rng)})
    return pd.DataFrame(rows)


def row(s: int, kind: str, w: int, phone: str, centroid: float, rng: np.random.Generator) -> dict[str, object]:
    return {
        "recording": f"S{s}-{kind}.wav", "speaker": f"S{s}", "prompt_index": w + 1, "prompt": f"w{w}",
        "voice": "client", "counts": "yes", "slot": 1, "phone": phone, "finding": "found",
        "vowel_after": "IY" if w % 2 else "AA",
        "core_duration_ms": 150 + rng.normal(0, 10), "centroid_hz": centroid, "centroid_hz_boundary": 60.0,
        "sd_hz": 1800 + rng.normal(0, 100), "method": "house-15k/1", "type": kind, "note": INVENTED,
    }  # fmt: skip


QUICK = {"n_permutations": 199, "n_chance": 19}


def test_rows_left_out_are_counted_by_reason() -> None:
    found = prepare(table(), Question("type"))
    assert found.left_out == {
        "another attempt counts": 1, "another phone": 108, "another voice, or unsure": 1, "no frication": 1,
        "no type": 1,
    }  # fmt: skip
    assert found.n_tokens + sum(found.left_out.values()) == len(table())
    assert found.design == "within" and found.groups == KINDS
    assert prepare(table(between=True), Question("type")).design == "between"


@pytest.mark.parametrize(
    ("asked", "error", "says"),
    [
        ({"by": "kind"}, UsageError, "kind: no such column"),
        ({"by": "speaker"}, UsageError, "two columns"),
        ({"by": "type", "measures": ("prompt",)}, UsageError, "not a column of numbers"),
        ({"by": "type", "reference": "nobody"}, UsageError, "none of the groups"),
        ({"by": "type", "method": "house-7k"}, UsageError, "the table has house-15k/1"),
        ({"by": "note"}, ListError, "1 groups are left"),
        ({"by": "prompt", "speaker": "type"}, ListError, "speakers"),
    ],
)
def test_questions_that_cannot_be_answered(asked: dict[str, object], error: type[Exception], says: str) -> None:
    frame = table()
    if asked.get("speaker") == "type":
        frame = frame[frame["type"] == "typical"]
    with pytest.raises(error, match=says):
        prepare(frame, Question(**asked))  # type: ignore[arg-type]


def test_two_readers_are_never_mixed() -> None:
    frame = table()
    frame["reader"] = ["one/1" if k % 4 else "two/1" for k in range(len(frame))]
    with pytest.raises(UsageError, match=r"mixes readers of words and sound \(one/1, two/1\)"):
        prepare(frame, Question("type"))
    assert set(prepare(frame, Question("type", where=("reader=one/1",))).tokens["reader"]) == {"one/1"}


def test_two_methods_are_never_mixed() -> None:
    frame = pd.concat([table(), table().assign(method="house-7k/1")])
    with pytest.raises(UsageError, match="several methods"):
        prepare(frame, Question("type"))
    assert prepare(frame, Question("type", method="house-7k")).left_out["another method"] > 0


@pytest.mark.parametrize("between", [True, False])
def test_planted_differences_come_back(between: bool) -> None:
    question = Question("type", reference="typical", **QUICK)
    effects = all_effects(prepare(table(between=between, n_speakers=15), question), question)
    lateral = next(e for e in effects if e.measure == "centroid_hz" and e.second == "lateral")
    assert lateral.low < -3500 < lateral.high
    assert lateral.g_low < lateral.g < lateral.g_high < 0


def test_speaker_normalisations_side_by_side() -> None:
    question = Question("type", reference="typical", **QUICK)
    ways = {way.name: way for way in normalisations(prepare(table(between=True, n_speakers=15), question), question)}
    assert ways["raw"].done and ways["own sh"].done
    assert not ways["own mean"].done and "take the difference" in ways["own mean"].why
    raw, own = (
        next(e for e in ways[name].effects if e.measure == "centroid_hz" and e.second == "frontal")
        for name in ("raw", "own sh")
    )
    assert own.high - own.low < raw.high - raw.low
    assert all(way.done for way in normalisations(prepare(table(), question), question))
    without = normalisations(prepare(table(sh=False), question), question)
    assert "fewer than 3 tokens of /ʃ/" in without[1].why
    uneven = table()
    uneven = uneven[~((uneven["type"] == "frontal") & (uneven["prompt_index"] > 2) & (uneven["phone"] == "S"))]
    assert "unlike shares" in normalisations(prepare(uneven, question), question)[2].why


@pytest.mark.parametrize("primary", ["mixed", "paired"])
def test_edges_moved_against_a_claimed_difference(primary: str) -> None:
    """Every token by 30 Hz towards the other group: a difference shrinks by 60 Hz at the worst."""
    question = Question("type", reference="typical", measures=("centroid_hz",), primary=primary, **QUICK)
    frame = table(n_speakers=12)
    found = compare(frame, question)
    assert found.sensitivity and len(found.sensitivity) == sum(one.claimed for one in found.analyses)
    for one in found.sensitivity:
        assert abs(one.difference - one.against) == pytest.approx(60, abs=1)
        assert one.moved_low < one.difference < one.moved_high and one.holds
        assert one.against_low < one.against < one.against_high
    wide = compare(frame.assign(centroid_hz_boundary=9000.0), question)
    assert wide.sensitivity and not any(one.holds for one in wide.sensitivity)
    alike = frame.assign(centroid_hz=np.random.default_rng(1).normal(7000, 300, len(frame)))
    nothing = compare(alike, question)
    assert nothing.sensitivity == () and any("no difference is claimed" in note for note in nothing.notes)


def judged(frame: pd.DataFrame, *, disagree: int = 0) -> pd.DataFrame:
    own = frame[(frame["phone"] == "S") & (frame["type"] != "")]
    rows = []
    for number, (_, one) in enumerate(own.iterrows()):
        for judge in ("a", "b"):
            kind = "typical" if judge == "b" and number < disagree else one["type"]
            rows.append({**one[["recording", "prompt_index", "slot"]], "judge": judge, "heard": kind})
    return pd.DataFrame(rows)


def test_judges_who_agree_with_the_groups_give_the_same_differences() -> None:
    question = Question("type", measures=("centroid_hz",), **QUICK)
    frame = table()
    prepared = prepare(frame, question)
    soft = soft_effects(prepared, judged(frame), question)
    hard = all_effects(prepared, question)
    assert soft.agreement.n_alike == soft.agreement.n_tokens == prepared.n_tokens
    assert soft.agreement.alpha == soft.agreement.kappa == 1.0 and soft.n_elsewhere == 0
    for a, b in zip(soft.effects, hard, strict=True):
        assert (a.difference, a.g) == pytest.approx((b.difference, b.g))
    split = soft_effects(prepared, judged(frame, disagree=40), question)
    assert split.agreement.n_tokens - split.agreement.n_alike > 20
    assert split.agreement.alpha_low < split.agreement.alpha < split.agreement.alpha_high <= 1
    assert abs(split.effects[1].difference) != pytest.approx(abs(hard[1].difference))


def test_a_context_has_a_slope_of_its_own() -> None:
    question = Question("type", measures=("centroid_hz",), context="vowel_after", **QUICK)
    from sibilant.study import fit

    model = fit(prepare(table(), question), "centroid_hz", question)
    assert "speaker:vowel_after" in model.formula and any(term.name == "vowel_after: IY - AA" for term in model.terms)


def test_the_same_table_gives_the_same_figures() -> None:
    question = Question("type", **QUICK)
    one, other = compare(table(), question), compare(table(), question)
    assert repr(one.effects) == repr(other.effects) and repr(one.evaluations) == repr(other.evaluations)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("study")
    frame = table()
    frame.to_csv(folder / "tokens.csv", index=False)
    judged(frame, disagree=30).rename(columns={"heard": "type"}).to_csv(folder / "judgements.csv", index=False)
    question = Question("type", reference="typical", **QUICK)
    lines = run_study(StudyRequest(folder / "tokens.csv", question, folder / "out", folder / "judgements.csv"))
    assert CAUTION in lines
    return folder / "out"


def test_dictionary_and_columns_are_one_to_one(written: Path) -> None:
    listed = pd.read_csv(written / "dictionary.csv", keep_default_na=False)
    tables = sorted(path for path in written.glob("*.csv") if path.name != "dictionary.csv")
    assert len(tables) == 20
    for path in tables:
        columns = list(pd.read_csv(path, nrows=0).columns)
        own = listed[listed["table"] == path.name]
        assert list(own["name"]) == columns, path.name
        described = json.loads(path.with_name(path.name + "-metadata.json").read_text())
        assert [c["name"] for c in described["tableSchema"]["columns"]] == columns
        assert own["how"].ne("").all()
    units = {column.name: column.unit for column in token_columns()}
    own = listed[listed["table"] == "tokens_used.csv"].set_index("name")
    assert own.loc["centroid_hz", "unit"] == units["centroid_hz"] == "Hz"
    assert own["lowest"].map(lambda cell: cell == "" or math.isfinite(float(cell))).all()
    described = json.loads((written / "dictionary.csv-metadata.json").read_text())["tableSchema"]["columns"]
    assert {c["name"]: c["datatype"] for c in described}["lowest"] == "number"
    values = pd.read_csv(written / "tokens_used.csv")["centroid_hz"]
    assert (float(own.loc["centroid_hz", "lowest"]), float(own.loc["centroid_hz", "highest"])) == pytest.approx(
        (values.min(), values.max())
    )


def test_tables_hold_by_frictionless(written: Path) -> None:
    """Independent library: frictionless reads every described column with its datatype."""
    frictionless = pytest.importorskip("frictionless")
    for path in written.glob("*.csv"):
        described = json.loads(path.with_name(path.name + "-metadata.json").read_text())["tableSchema"]["columns"]
        fields = [{"name": c["name"], "type": c["datatype"]} for c in described]
        schema = frictionless.Schema.from_descriptor({"fields": fields, "missingValues": [""]})
        report = frictionless.validate(frictionless.Resource(path=path.name, basepath=str(written), schema=schema))
        assert report.valid, (path.name, report.flatten(["type", "note"]))


def test_run_file_holds_hashes_versions_and_no_path(written: Path) -> None:
    text = (written / "study.json").read_text()
    told = json.loads(text)
    assert len(told["table"]["sha256"]) == 64 and told["question"]["seed"] == 2026
    assert set(told["versions"]) == {"sibilant", "numpy", "scipy", "pandas", "python"}
    assert str(written.parent) not in text
    assert told["judges"]["n_judges"] == 2 and 0.5 < told["judges"]["agreement"]["alpha"] < 1
    assert told["figures"] == sorted(path.name for path in (written / "figures").iterdir())


def test_speakers_separation_is_written(written: Path) -> None:
    found = pd.read_csv(written / "separation.csv")
    assert len(found) == 9 and found["auc"].between(0, 1).all() and found["n_sh"].eq(12).all()


def test_command_line(tmp_path: Path) -> None:
    from sibilant_cli.study import command

    frame = table(n_speakers=6, n_words=3)
    frame.to_csv(tmp_path / "t.csv", index=False)
    asked = [
        str(tmp_path / "t.csv"),
        "--by",
        "type",
        "--measures",
        "centroid_hz",
        "--to",
        str(tmp_path / "out"),
        "--json",
    ]
    done = CliRunner().invoke(command, asked)
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["what"] == "sibilant study"


def test_exit_codes(tmp_path: Path) -> None:
    from sibilant_cli.main import run

    table(n_speakers=6, n_words=3).to_csv(tmp_path / "t.csv", index=False)
    assert run(["study", str(tmp_path / "t.csv"), "--by", "nothing", "--to", str(tmp_path / "out")]) == 2
    assert run(["study", str(tmp_path / "none.csv"), "--by", "type", "--to", str(tmp_path / "out2")]) == 3
    assert run(["study", str(tmp_path / "t.csv"), "--by", "type", "--to", str(tmp_path)]) == 3


def test_from_the_recordings_again(tmp_path: Path) -> None:
    """Cepstra by librosa's own route, and edges moved: a steady hiss keeps its centroid, a recording is checked."""
    from sibilant import corpus
    from sibilant.acoustics.cepstra import cepstra
    from sibilant.audio import read_recording, write_wav
    from sibilant.errors import RecordingError
    from sibilant.terms import Interval

    lines = ["recording,onset_s,offset_s,label,speaker,type"]
    for s in range(3):
        for k, kind in enumerate(("a", "b")):
            noise = np.random.default_rng([s, k]).normal(0, 0.05, 44100)
            smooth = (noise - (0.3 if kind == "a" else 0.0) * np.roll(noise, 1)) / 2
            time = np.arange(44100) / 44100
            heard = ((time - 0.1) % 0.25 < 0.15) & (time > 0.1) & (time < 0.75)
            smooth *= np.where(heard, 1.0, 0.002)
            write_wav(tmp_path / f"{s}{kind}.wav", smooth.astype(np.float32), 44100)
            lines += [f"{s}{kind}.wav,{0.1 + 0.25 * n},{0.25 + 0.25 * n},s,S{s},{kind}" for n in range(3)]
    (tmp_path / "m.csv").write_text("\n".join(lines))
    corpus.run(corpus.CorpusRequest(tmp_path / "m.csv", tmp_path / "to"))
    question = Question("type", measures=("centroid_hz",), word="label", n_permutations=99, n_chance=19)
    order = StudyRequest(tmp_path / "to/tokens.csv", question, tmp_path / "out", recordings=tmp_path)
    run_study(order)
    moved = pd.read_csv(tmp_path / "out/edges_moved.csv")
    plain = pd.read_csv(tmp_path / "out/effects.csv")["difference"].iloc[0]
    assert list(moved["way"]) == ["5 ms inward", "10 ms inward", "5 ms outward", "10 ms outward", "middle half"]
    assert moved["difference"].to_numpy() == pytest.approx([plain] * 5, rel=0.1)
    names = set(pd.read_csv(tmp_path / "out/discriminants.csv")["name"])
    assert {"linear discriminant, cepstra", "linear discriminant, measures and cepstra"} <= names
    one = read_recording(tmp_path / "0a.wav")
    assert np.isfinite(cepstra(one, Interval(0.1, 0.25))).all()
    assert np.isnan(cepstra(one, Interval(0.1, 0.12))).all()
    write_wav(tmp_path / "0a.wav", np.zeros(44100, np.float32), 44100)
    with pytest.raises(RecordingError, match="not the recording that was measured"):
        run_study(StudyRequest(order.table, question, tmp_path / "out2", recordings=tmp_path))


def test_a_measure_that_one_group_lacks_is_told_and_ends_nothing() -> None:
    frame = table()
    frame.loc[frame["type"] == "lateral", "sd_hz"] = math.nan
    found = compare(frame, Question("type", measures=("centroid_hz", "sd_hz"), **QUICK))
    assert "no value in lateral" in found.models[1].notes and found.models[0].notes == ()
    assert found.evaluations and found.evaluations[0].features == ("centroid_hz",)
    found = compare(frame, Question("type", measures=("sd_hz",), **QUICK))
    assert found.evaluations == () and any("not told apart" in note for note in found.notes)


def test_a_measure_of_ones_own_and_stretches_a_person_labelled() -> None:
    """Numbers carried through as text are numbers; a stretch that a person labelled is used, an extra sound is not."""
    frame = table().assign(own=lambda f: [str(n) for n in range(len(f))], label="")
    assert prepare(frame, Question("type", measures=("own",))).tokens["own"].dtype.kind == "f"
    with pytest.raises(UsageError, match="not a column of numbers"):
        prepare(frame.assign(own="7y"), Question("type", measures=("own",)))
    first = frame.index[(frame["phone"] == "S") & (frame["finding"] == "found")][:2]
    frame.loc[first, "finding"] = "extra"
    frame.loc[first[0], "label"] = "s, frontal"
    assert prepare(frame, Question("type")).left_out["extra"] == 1


def test_the_terminal_says_the_clearest_differences_and_where_the_rest_are() -> None:
    from sibilant.research.study_said import MOST_SAID, _said_of_clear

    found = compare(table(), Question("type", measures=("centroid_hz", "sd_hz"), **QUICK)).analyses
    many = [dataclasses.replace(found[0], p=n / 100) for n in range(MOST_SAID + 3)]
    lines = _said_of_clear(many)
    assert len(lines) == MOST_SAID + 1 and lines[-1] == "  and 3 more: see analyses.csv"
    assert "p 0.1900" in lines[-2] and "p 0.2000" not in "".join(lines)
