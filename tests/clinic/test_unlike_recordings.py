"""One client's probes from a WAV, a phone's AAC cut at 15.3 kHz and a 22.05 kHz file, and one who began on the phone.

The line stands under the baseline's method; narrower probes stand apart with a comparison of their own. Invented voice.
"""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

import numpy as np
import pytest

from sibilant import audio, lexicon, synthetic
from sibilant.clinic import clients, months_chart, probe, report, sessions, summarise, worked_out
from sibilant.clinic.caseload import CaseloadHandle
from sibilant.synthetic.speakers import woman
from sibilant.terms.case_view import CaseView
from sibilant.terms.clinic import Case

CODE = "C-7QXK"
DAYS = [dt.date(2026, 1, 5), dt.date(2026, 1, 26), dt.date(2026, 2, 16), dt.date(2026, 3, 16), dt.date(2026, 4, 13),
        dt.date(2026, 5, 11)]  # fmt: skip
APART = "from 1 to 10 kHz, because the probe of 13 April holds no more"


def as_phone(path: Path, samples: np.ndarray, rate: int) -> Path:
    """The sound as a phone keeps it: AAC, cut at about 15.3 kHz by its coder."""
    av = pytest.importorskip("av")
    with av.open(str(path), "w") as held:
        stream = held.add_stream("aac", rate=rate, layout="mono", options={"cutoff": "15000"})
        stream.bit_rate = 96_000
        frame = av.AudioFrame.from_ndarray(samples[np.newaxis].astype(np.float32), "fltp", "mono")
        frame.sample_rate = rate
        for packet in (*stream.encode(frame), *stream.encode(None)):
            held.mux(packet)
    return path


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Four probes of ten words as WAV, the same voice on a phone, and one at 22.05 kHz."""
    import soxr

    folder = tmp_path_factory.mktemp("unlike")
    prompts = lexicon.builtin_list("core-a")[:10]
    (folder / "list.csv").write_text("word\n" + "\n".join(prompt.text for prompt in prompts) + "\n", encoding="utf-8")
    found = {"list": folder / "list.csv"}
    for number in range(1, 6):
        plan = synthetic.ProbePlan(snr_db=32.0)
        said = synthetic.probe(prompts, woman(3), number, plan=plan)
        if number < 5:
            found[f"wav{number}"] = folder / f"{number}.wav"
            audio.write_wav(found[f"wav{number}"], said.samples, said.sampling_rate_hz)
        found[f"phone{number}"] = as_phone(folder / f"{number}.m4a", said.samples, said.sampling_rate_hz)
    low = soxr.resample(said.samples, said.sampling_rate_hz, 22_050, "VHQ").astype(np.float32)
    found["low"] = folder / "low.wav"
    audio.write_wav(found["low"], low, 22_050)
    return found


def caseload(folder: Path, files: dict[str, Path], names: list[str]) -> CaseloadHandle:
    """A client with three baseline probes and later ones, the ear not asked first."""
    handle = CaseloadHandle(folder / "case")
    told = {"invented": True, "therapy": {"starts": dt.date(2026, 2, 20)}, "group": ""}
    clients.add_client(handle, "34y", code=CODE, fields=told)
    (folder / "case" / "caseload.toml").write_text("ear_first = false\n", encoding="utf-8")
    for name, day in zip(names, DAYS, strict=False):
        asked = probe.ProbeRequest([files[name]], str(files["list"]), on=day, device="desk", keep="none", anyway=True)
        probe.keep_probe(handle, CODE, asked)
    return handle


def blank(case: Case, view: CaseView, handle: CaseloadHandle) -> list[tuple[int, str]]:
    """Sounds that were found and have no figure where the session is shown."""
    odd = []
    for one in view.summaries:
        shown = sessions.show_session(handle, CODE, one.number)
        odd += [
            (one.number, row["prompt"])
            for row in shown["tokens"]
            if row["finding"] == "found" and row["phone"] == "S" and row["centroid_hz"] is None
        ]
    return odd


def test_narrower_probes_stand_apart_with_a_comparison_of_their_own(files: dict[str, Path], tmp_path: Path) -> None:
    handle = caseload(tmp_path, files, ["wav1", "wav2", "wav3", "wav4", "phone5", "low"])
    view, case = summarise.case_view(handle, CODE)
    methods = [one.measures["centroid_hz"].method for one in view.summaries]
    assert methods == ["house-15k/2"] * 4 + ["house-10k/2"] * 2
    assert [one.measures["centroid_hz"].apart for one in view.summaries[:4]] == [()] * 4, "nobody is narrowed"
    assert view.summaries[4].measures["centroid_hz"].apart == (APART,)
    assert not view.summaries[4].measures["core_duration_ms"].apart, "a length hangs on no band"
    changes = {change.session: change for change in view.changes_of("centroid_hz")}
    assert set(changes) == {4, 5, 6} and all(change.verdict != "cannot be judged" for change in changes.values())
    assert math.isnan(changes[4].baseline) and APART in changes[5].reasons
    own = [one.measures["centroid_hz"].mean for one in view.summaries[:3]]
    assert changes[5].baseline < np.mean(own) - 50, "the baseline under the narrower band reads lower"
    assert abs(changes[5].difference) < changes[5].limit and abs(changes[6].difference) < changes[6].limit
    assert blank(case, view, handle) == []
    said = "\n".join(worked_out.lines(view))
    assert f"session 5 stands apart: {APART}" in said
    months_chart.figure(view, case, tmp_path / "months.png")
    report.make_report(handle, CODE, "quarterly", tmp_path / "report.html")
    told = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "probes in a narrower band: house-10k/2" in told
    assert "stands apart" in told.casefold() and "from 1 to 10 kHz, because the probe of 11 May holds no more" in told


def test_who_records_on_the_phone_from_the_start_is_followed_there(files: dict[str, Path], tmp_path: Path) -> None:
    handle = caseload(tmp_path, files, ["phone1", "phone2", "phone3", "phone4", "low"])
    view, case = summarise.case_view(handle, CODE)
    assert {one.measures["centroid_hz"].method for one in view.summaries} == {"house-10k/2"}
    assert all(not one.apart_in("centroid_hz") for one in view.summaries)
    assert [change.verdict for change in view.changes_of("centroid_hz")] != []
    assert blank(case, view, handle) == []
    assert any("the baseline holds no more" in sentence for sentence in view.joins)
