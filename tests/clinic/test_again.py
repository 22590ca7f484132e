"""Kept words measured again: the recording's figures to the digit, all at once, both versions kept. Invented data."""

from __future__ import annotations

import datetime as dt
import json
import math
import shutil
from pathlib import Path

import pytest
import sqlalchemy as sa

from sibilant import audio, lexicon, store, synthetic
from sibilant.clinic import again, clients, followed, probe, review, sessions
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.errors import RefusedError
from sibilant.methods import get_method
from sibilant.progress.session import value_of
from sibilant.store.packing import packed_measurement, told_measurement
from sibilant.store.schema import MEASUREMENTS, SURROUNDINGS
from sibilant.terms import MEASURES, Measures
from sibilant.terms.clinic import Case

CODE = "C-7QXK"
WORDS = ("seal", "bus", "castle", "fossil")
LATER = tuple(get_method(name) for name in followed.HOUSE)
EARLIER = tuple(get_method(f"{name}/1") for name in followed.HOUSE)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A caseload with two probes of four words in a room of 25 dB, judged not at all, the ear not asked first."""
    folder = tmp_path_factory.mktemp("again")
    handle = CaseloadHandle(folder / "case")
    clients.add_client(handle, "7y4m", code=CODE, fields={"invented": True})
    (folder / "case" / "caseload.toml").write_text("ear_first = false\n", encoding="utf-8")
    prompts = [lexicon.expect(word) for word in WORDS]
    (folder / "list.csv").write_text("word\n" + "\n".join(WORDS) + "\n", encoding="utf-8")
    for number in (1, 2):
        plan = synthetic.ProbePlan(snr_db=25.0)
        said = synthetic.probe(prompts, synthetic.child_speaker(3), number, plan=plan)
        path = folder / f"{number}.wav"
        audio.write_wav(path, said.samples, said.sampling_rate_hz)
        day = dt.date(2026, 1, 5 + 7 * number)
        keep = "words" if number == 1 else "none"
        asked = probe.ProbeRequest([path], str(folder / "list.csv"), on=day, keep=keep, methods=LATER + EARLIER)
        probe.keep_probe(handle, CODE, asked)
    return folder


@pytest.fixture
def folder(kept: Path, tmp_path: Path) -> Path:
    """A copy of that caseload."""
    shutil.copytree(kept / "case", tmp_path / "case")
    return tmp_path / "case"


def case_of(folder: Path) -> Case:
    """What is kept."""
    with store.open_caseload(folder) as one:
        return store.read_case(one, CODE)


def forget(folder: Path, version: int, *, around: bool = False) -> None:
    """Take out what was measured under the house methods' version; with ``around`` what stood around the words."""
    with store.open_caseload(folder) as one, one.change("a test forgets", CODE) as connection:
        connection.execute(MEASUREMENTS.delete().where(MEASUREMENTS.c.method.like(f"%/{version}")))
        if around:
            connection.execute(SURROUNDINGS.delete())


def figures(one: Measures) -> dict[str, float]:
    """Values as tables print them, with their intervals."""
    found = {}
    for part in ("values", "low", "high", "boundary"):
        for key, value in getattr(one, part).items():
            found[f"{key} {part}"] = round(value, MEASURES[key].decimals)
    return found


def test_a_kept_word_gives_the_recordings_figures_to_the_digit(folder: Path) -> None:
    before = {token.key: token for token in case_of(folder).tokens_of(1)}
    forget(folder, 2)
    done = again.measure_client_again(CaseloadHandle(folder), CODE)
    assert done["measured"] == 4 and done["own_margins"] == 0
    assert done["methods"] == sorted(method.label for method in LATER)
    compared = 0
    for token in case_of(folder).tokens_of(1):
        for label, one in token.measurements.items():
            was = before[token.key].measurements[label]
            assert figures(one.measures) == figures(was.measures), (token.key, label)
            assert (one.flags, one.snr_db, one.bandwidth_hz) == (was.flags, was.snr_db, was.bandwidth_hz)
            compared += "centroid_hz" in one.measures.values and label.endswith("/2")
    assert compared >= 12
    told = again.measure_client_again(CaseloadHandle(folder), CODE)
    assert told["measured"] == 0 and "nothing to measure again" in again.lines(told)[0]


def test_a_word_of_an_earlier_program_has_its_own_margins_and_says_so(folder: Path) -> None:
    before = {token.key: token for token in case_of(folder).tokens_of(1)}
    forget(folder, 2, around=True)
    done = again.measure_client_again(CaseloadHandle(folder), CODE)
    assert done["own_margins"] == done["measured"] == 4
    assert any("own margins" in line for line in again.lines(done))
    for token in case_of(folder).tokens_of(1):
        one, was = (each.measurements["house-10k/2"] for each in (token, before[token.key]))
        assert "own_margins" in one.flags
        if "centroid_hz" in was.measures.values:  # the margins' noise is nearly the pauses'
            assert one.measures.values["centroid_hz"] == pytest.approx(was.measures.values["centroid_hz"], rel=0.02)


def test_a_baseline_without_its_sound_goes_on_under_the_earlier_version(folder: Path) -> None:
    forget(folder, 2)
    done = again.measure_client_again(CaseloadHandle(folder), CODE)
    assert done["without_sound"] == {2: 4} and done["followed"] == "house-15k/1"
    said = " ".join(again.lines(done))
    assert "until there is a new baseline" in said and "session 2: 4 sounds not measured again" in said
    assert [m.label for m in followed.methods_for(case_of(folder))][-1] == "house-15k/1", (
        "new probes go on under it too"
    )
    shown = sessions.show_session(CaseloadHandle(folder), CODE, 1)
    one = next(token for token in case_of(folder).tokens_of(1) if token.key == "1.1.1")
    assert shown["tokens"][0]["centroid_hz"] == one.measurements["house-15k/1"].measures.values["centroid_hz"]


def test_where_all_is_kept_the_newest_version_is_followed_from_that_day(folder: Path) -> None:
    forget(folder, 2)
    with store.open_caseload(folder) as one:
        store.remove_session(one, CODE, 2)
    done = again.measure_client_again(CaseloadHandle(folder), CODE)
    assert (done["followed_before"], done["followed"]) == ("house-15k/1", "house-15k/2")
    case = case_of(folder)
    assert [(one.method, one.before) for one in case.choices] == [("", "house-15k/1")]
    assert {label for token in case.tokens for label in token.measurements} == {m.label for m in LATER + EARLIER}
    with store.open_caseload(folder) as one:
        assert store.audit_trail(one, CODE)[-1].action == "measured again"
        assert store.look_at_rows(one).damaged == ()


def test_it_is_all_or_nothing_and_refused_over_anothers_correction(
    folder: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    forget(folder, 2)
    real, review_csv = store.add_measured, tmp_path / "r.csv"
    review_csv.write_text("prompt_index,attempt,slot,onset_s,offset_s,voice,counts\n1,1,1,,,,\n", encoding="utf-8")

    def late(*given: object, **more: object) -> int:
        review.review_from(CaseloadHandle(folder), CODE, 1, review_csv, rater="R1")
        return real(*given, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(store, "add_measured", late)
    with pytest.raises(RefusedError, match="meanwhile"):
        again.measure_client_again(CaseloadHandle(folder), CODE)
    assert not any(label.endswith("/2") for token in case_of(folder).tokens for label in token.measurements)


def test_moved_edges_are_measured_with_the_kept_noise(folder: Path, tmp_path: Path) -> None:
    """The same edges set by hand: the figures stay; without what was kept around the word they do not."""
    token = next(one for one in case_of(folder).tokens_of(1) if one.key == "1.1.1")
    assert token.sound.edges is not None
    edges = token.sound.edges.interval
    row = f"1,1,1,{edges.onset_s!r},{edges.offset_s!r},,\n"
    (tmp_path / "r.csv").write_text("prompt_index,attempt,slot,onset_s,offset_s,voice,counts\n" + row, encoding="utf-8")
    found = []
    for place, around in enumerate((False, True)):
        copy = tmp_path / f"copy{place}"
        shutil.copytree(folder, copy)
        if around:
            with store.open_caseload(copy) as one, one.change("a test forgets", CODE) as connection:
                connection.execute(SURROUNDINGS.delete())
        review.review_from(CaseloadHandle(copy), CODE, 1, tmp_path / "r.csv", rater="R1")
        moved = next(one for one in case_of(copy).tokens_of(1) if one.key == "1.1.1")
        found.append(figures(moved.measurements["house-15k/2"].measures))
        assert ("own_margins" in moved.measurements["house-15k/2"].flags) == around
        forget(copy, 2)
        again.measure_client_again(CaseloadHandle(copy), CODE)
        once_more = next(one for one in case_of(copy).tokens_of(1) if one.key == "1.1.1")
        assert figures(once_more.measurements["house-15k/2"].measures) == found[-1], "a person's edges count"
        with store.open_caseload(copy) as one, one.read() as connection:
            held = connection.execute(sa.select(MEASUREMENTS.c.boundary).where(MEASUREMENTS.c.method == "house-15k/2"))
            assert sorted(held.scalars())[-1] == "reviewed"
    was = figures(token.measurements["house-15k/2"].measures)
    spectral = [name for name in was if name.split()[0] in ("centroid_hz", "sd_hz")]
    assert [found[0][name] for name in spectral] == [was[name] for name in spectral]
    assert [found[1][name] for name in spectral] != [was[name] for name in spectral], "the check could fail"


def test_an_encrypted_caseload_is_measured_again_too(
    folder: Path, monkeypatch: pytest.MonkeyPatch, cheap_scrypt: None
) -> None:
    pytest.importorskip("sqlcipher3")
    monkeypatch.setenv("SIBILANT_PASSPHRASE", "seven invented otters swim")
    before = {token.key: token for token in case_of(folder).tokens_of(1)}
    forget(folder, 2)
    with store.open_caseload(folder) as one:
        store.encrypt(one, "seven invented otters swim", tell=lambda code: None)
    done = again.measure_client_again(CaseloadHandle(folder), CODE)
    assert done["measured"] == 4 and done["own_margins"] == 0
    after = next(one for one in case_of(folder).tokens_of(1) if one.key == "1.1.1")
    label = "house-15k/2"
    assert figures(after.measurements[label].measures) == figures(before["1.1.1"].measurements[label].measures)


def test_a_measure_that_changed_its_meaning_has_another_name_and_is_added(folder: Path) -> None:
    """An earlier program gave the ridge another measure's figure under the same label: both are kept, none is mixed."""
    before = {token.key: token.measurements for token in case_of(folder).tokens_of(1)}
    with store.open_caseload(folder) as one, one.change("a test writes as before", CODE) as connection:
        for row in connection.execute(sa.select(MEASUREMENTS).where(MEASUREMENTS.c.method == "house-15k/2")).all():
            kept = told_measurement(json.loads(row.measured))
            if kept["measures"] and "whistle_width_hz" in kept["measures"]["values"]:
                del kept["measures"]["values"]["whistle_width_hz"]
                kept["measures"]["values"] |= {"tonality_db": 21.5, "tonality_width_hz": 150.0}
                changed = MEASUREMENTS.update().where(MEASUREMENTS.c.id == row.id)
                connection.execute(changed.values(measured=json.dumps(packed_measurement(kept))))
    earlier = case_of(folder)
    one_sound = earlier.tokens_of(1)[0].measurements["house-15k/2"]
    assert not math.isfinite(value_of(one_sound, "tonality_db")), "the earlier figure is not taken for it"
    done = again.measure_client_again(CaseloadHandle(folder), CODE)
    assert done["measured"] >= 3 and done["own_margins"] == 0
    for token in case_of(folder).tokens_of(1):
        for label, now in token.measurements.items():
            was = before[token.key][label]
            values = dict(now.measures.values)
            if label == "house-15k/2" and "whistle_width_hz" in values:
                assert (values.pop("tonality_1_db"), values.pop("tonality_width_hz")) == (21.5, 150.0)
            assert values == dict(was.measures.values) and now.measures.low == was.measures.low, label
            assert (now.flags, now.snr_db) == (was.flags, was.snr_db)
    with store.open_caseload(folder) as one:
        assert store.look_at_rows(one).damaged == ()
    assert again.measure_client_again(CaseloadHandle(folder), CODE)["measured"] == 0
