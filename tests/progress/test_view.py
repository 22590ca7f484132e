"""One client's case as a whole: the fixed words, what is joined, and every token accounted for."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import ModuleType

import pytest

from sibilant.progress import ViewRequest, summarise, view
from sibilant.terms.change import LARGER, UNJUDGED, WITHIN
from sibilant.terms.clinic import MoveUpRule


def test_rise_past_the_limit_is_larger_than_error_once_the_next_probe_agrees(material: ModuleType) -> None:
    found = view(material.case([6000, 6050, 5960, 6040, 6700, 6800]))
    verdicts = [change.verdict for change in found.changes_of("centroid_hz")]
    assert verdicts == [WITHIN, LARGER, LARGER]
    second = found.changes_of("centroid_hz")[1]
    assert second.word == "higher" and second.as_expected and second.confirmed_by == 6 and second.n_looks == 2
    assert second.n_shared_words == 20 and second.n_measured == 20 and second.n_expected == 20
    assert second.difference == pytest.approx(6700 - (6000 + 6050 + 5960) / 3)


def test_last_probe_past_the_limit_waits_for_the_next(material: ModuleType) -> None:
    last = view(material.case([6000, 6050, 5960, 6040, 6800])).changes_of("centroid_hz")[-1]
    assert last.verdict == UNJUDGED and last.awaits and "next probe has to agree" in last.reasons[0]


def test_one_outlying_probe_that_the_next_contradicts_is_within_error(material: ModuleType) -> None:
    changes = view(material.case([6000, 6050, 5960, 6800, 6040])).changes_of("centroid_hz")
    assert [change.verdict for change in changes] == [WITHIN, WITHIN]
    assert "did not agree" in changes[0].reasons[0]


def test_two_baselines_cannot_be_judged(material: ModuleType) -> None:
    sessions = [material.session(1), material.session(2), material.session(4)]
    change = view(material.case([6000, 6050, 9000], sessions=sessions)).changes_of("centroid_hz")[0]
    assert change.verdict == UNJUDGED and any("2 baseline probes; 3" in reason for reason in change.reasons)


def test_two_baselines_on_one_day_are_one(material: ModuleType) -> None:
    sessions = [material.session(1), material.session(2, on=material.DAY), material.session(3), material.session(4)]
    found = view(material.case([6000, 6050, 5960, 9000], sessions=sessions))
    assert found.error_of("centroid_hz").sessions == (1, 3)
    assert any("one baseline a day" in sentence for sentence in found.joins)
    assert found.changes_of("centroid_hz")[0].verdict == UNJUDGED


@pytest.mark.parametrize(
    ("changed", "name"),
    [({"device": "clip-on"}, "device"), ({"level": "sentence"}, "level"), ({"cue": "model"}, "cue"),
     ({"list_form": "core-b"}, "list form")],
)  # fmt: skip
def test_another_condition_is_never_joined_in_silence(material: ModuleType, changed: dict[str, str], name: str) -> None:
    sessions = [*(material.session(n) for n in (1, 2, 3, 4)), material.session(5, **changed)]
    case = material.case([6000, 6050, 5960, 6040, 6900], sessions=sessions)
    tokens = tuple(replace(t, level=changed.get("level", "word")) if t.session == 5 else t for t in case.tokens)
    found = view(replace(case, tokens=tokens))
    last = found.changes_of("centroid_hz")[-1]
    assert last.verdict == UNJUDGED and f"another {name}" in last.reasons[0]
    assert not found.summaries[-1].joined
    assert any("session 5 not joined" in sentence for sentence in found.joins)


def test_bridge_recording_brings_another_device_to_the_baseline(material: ModuleType) -> None:
    days = {n: material.session(n).on for n in range(1, 8)}
    sessions = [
        *(material.session(n) for n in (1, 2, 3)),
        material.session(4, bridge=True, on=days[4]),
        material.session(5, bridge=True, on=days[4], device="clip-on"),
        material.session(6, device="clip-on", on=days[6]),
        material.session(7, device="clip-on", on=days[7]),
    ]
    found = view(material.case([6000, 6050, 5960, 6010, 5510, 5500, 6300], sessions=sessions))
    changes = {change.session: change for change in found.changes_of("centroid_hz")}
    assert changes[6].difference == pytest.approx(5500 + 500 - 6003.3333, abs=1e-3)
    assert changes[6].verdict == WITHIN
    assert any("bridge of sessions 4 and 5" in sentence for sentence in found.joins)


def test_a_new_baseline_on_the_new_device_is_a_line_of_its_own(material: ModuleType) -> None:
    sessions = [
        *(material.session(n) for n in (1, 2, 3, 4)),
        *(material.session(n, device="clip-on", phase="baseline") for n in (5, 6, 7)),
        material.session(8, device="clip-on"),
        material.session(9, device="clip-on"),
    ]
    case = material.case([6000, 6050, 5960, 6040, 5500, 5550, 5460, 6500, 6600], sessions=sessions)
    changes = {change.session: change.verdict for change in view(case).changes_of("centroid_hz")}
    assert changes == {4: WITHIN, 8: LARGER, 9: LARGER}


def test_too_few_measured_tokens_cannot_be_judged_and_are_counted_by_reason(material: ModuleType) -> None:
    case = material.case([6000, 6050, 5960, 6900, 6900])
    weak = [
        replace(t, measurements=material.token(t.prompt_index - 1, None, flags=("weak",)).measurements)
        if t.session == 4 and t.prompt_index <= 5
        else t
        for t in case.tokens
    ]
    found = view(replace(case, tokens=tuple(weak)))
    summary = found.summaries[3].measures["centroid_hz"]
    assert summary.counted == "measured 15 of 20 expected, left out: weak 5"
    change = found.changes_of("centroid_hz")[0]
    assert change.verdict == UNJUDGED and "80 % are needed" in change.reasons[0]


def test_what_is_missing_is_told_by_what_took_it_not_by_another_flag(material: ModuleType) -> None:
    # A gated room told "left out: corrected 0, mid peak at edge 3, uncorrected 11" of sounds with holes in them.
    holed = ("mid_peak_at_edge", "uncorrected", "moments_not_supported")
    tokens = [material.token(place, None, flags=holed) for place in range(11)]
    tokens += [material.token(place, {"centroid_hz": 6000.0}, flags=("uncorrected",)) for place in range(11, 20)]
    summary = summarise(tokens, "centroid_hz", "house-15k")
    assert summary.uncorrected and summary.counted == ("measured 9 of 20 expected, left out: moments_not_supported 11")


def test_figures_are_held_back_until_the_ear_has_judged(material: ModuleType) -> None:
    case = material.case([6000, 6050, 5960, 6040])
    unjudged = tuple(replace(t, judgements=()) if t.session == 4 else t for t in case.tokens)
    found = view(replace(case, tokens=unjudged))
    assert not found.summaries[3].shown and not found.summaries[3].measures
    assert not found.changes_of("centroid_hz")
    switched_off = view(replace(case, tokens=unjudged, ear_first=False))
    assert switched_off.summaries[3].shown and switched_off.changes_of("centroid_hz")


def test_words_on_a_practice_sheet_leave_the_score_from_that_day(material: ModuleType) -> None:
    day = material.session(4).on
    case = material.case([6000, 6050, 5960, 6040, 6100], treated={"seal": day, "sand": day})
    found = view(case)
    assert [summary.n_tokens for summary in found.summaries] == [20, 20, 20, 18, 18]
    assert [summary.n_tokens for summary in view(case, ViewRequest(words="treated")).summaries] == [0, 0, 0, 2, 2]
    groups = {cell.value: cell.accuracy.n_scored for cell in found.summaries[4].accuracy_by if cell.by == "group"}
    assert groups == {"treated words": 2, "untreated words": 18}


def test_accuracy_by_position_and_its_groups_reconcile_with_the_token_table(material: ModuleType) -> None:
    found = view(material.case([6000, 6050, 5960, 6040]))
    cells = [cell for cell in found.summaries[3].accuracy_by if cell.by == "position"]
    assert {cell.value: cell.accuracy.n_scored for cell in cells} == {"initial": 12, "medial": 4, "final": 4}
    assert sum(cell.accuracy.n_scored for cell in found.generalisation) == 20
    assert found.summaries[3].accuracy.n_correct == 20


def test_z_and_str_stand_apart(material: ModuleType) -> None:
    case = material.case([6000, 6050, 5960, 6040])
    z = material.slot_of(0)
    z = replace(z, phone="Z")
    str_slot = replace(material.slot_of(1), cluster="str")
    extra = []
    for number in (1, 2, 3, 4):
        for place, slot in ((20, z), (21, str_slot)):
            one = material.token(place, 3000.0, slot=slot)
            extra.append(material.kept(number, one, material.judgement(one.key, "correct")))
    found = view(replace(case, tokens=case.tokens + tuple(extra)))
    assert found.summaries[0].measures["centroid_hz"].n_expected == 20
    assert found.voiced[1].n_measured == 1 and found.str_cluster[1].mean == 3000.0


def test_the_first_attempt_that_counts_enters_and_another_voice_is_left_out(material: ModuleType) -> None:
    case = material.case([6000, 6050, 5960, 6040])
    second = material.token(0, 9999.0, attempt=2, counts=False)
    other = material.token(1, 9999.0, voice="other")
    tokens = [t for t in case.tokens if not (t.session == 4 and t.prompt_index == 2)]
    tokens += [material.kept(4, second), material.kept(4, other, material.judgement(other.key, "not_scorable"))]
    summary = view(replace(case, tokens=tuple(tokens))).summaries[3].measures["centroid_hz"]
    assert summary.n_expected == 20 and summary.n_measured == 19 and dict(summary.left_out) == {"other_voice": 1}


def test_the_clinics_own_rule_is_applied_and_shown_with_its_interval(material: ModuleType) -> None:
    met = view(material.case([6000, 6050, 5960, 6040], move_up=MoveUpRule(0.8, 2, 20))).move_up
    assert met.met and met.sessions == (3, 4) and met.accuracies[0].low == pytest.approx(0.8389, abs=1e-4)
    unmet = view(material.case([6000, 6050, 5960, 6040], heard="distorted", move_up=MoveUpRule())).move_up
    assert unmet.met is False
    many = view(material.case([6000, 6050], move_up=MoveUpRule(0.8, 3, 40))).move_up
    assert many.met is None and len(many.reasons) == 3


def test_months_ages_and_events(material: ModuleType) -> None:
    found = view(material.case([6000, 6050, 5960, 6040, 6100]), ViewRequest(today=dt.date(2026, 6, 1)))
    assert found.summaries[0].month == 0 and found.summaries[3].month == pytest.approx(44 / 30.4375)
    assert [summary.age_months for summary in found.summaries] == [80, 80, 80, 81, 82]
    assert [len(summary.events) for summary in found.summaries] == [0, 0, 0, 0, 1]
    assert found.made_on == dt.date(2026, 6, 1)


def test_measures_beside_the_main_one_are_exploratory(material: ModuleType) -> None:
    found = view(material.case([6000, 6050, 5960, 6040]))
    assert found.measures[0] == "centroid_hz"
    assert not found.changes_of("centroid_hz")[0].exploratory
    assert all(change.exploratory and change.as_expected is None for change in found.changes_of("core_duration_ms"))
    assert found.changes_of("core_duration_ms")[0].word == "none"


def test_an_empty_case_has_an_empty_view(material: ModuleType) -> None:
    found = view(replace(material.case([6000]), sessions=(), tokens=()))
    assert not found.summaries and not found.changes and found.last is None


def test_no_word_of_the_view_calls_a_sound_or_person_good_or_bad(material: ModuleType) -> None:
    text = repr(view(material.case([6000, 6050, 5960, 6040, 6700, 6800]))).lower()
    for word in ("disorder", "abnormal", "better", "worse", "improv", "normal "):
        assert word not in text.replace("non-overlap", "")
