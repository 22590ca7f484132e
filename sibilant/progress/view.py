"""One client's case, computed once: everything that a chart, a report or the terminal shows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

from ..terms import MEASURES
from ..terms.by_ear import AccuracyCell, Presence, WordsGained
from ..terms.case_view import CaseView
from ..terms.clinic import Case, Event, Session
from ..terms.groups import ContextCell, Contrast
from ..terms.kept import KeptToken
from ..terms.summaries import MeasureSummary, SessionSummary, SpreadPoint, SustainedHold
from ..terms.therapy import REFERENCES
from .accuracy import accuracy, accuracy_by, counts, judgement_by, move_up, standing, token_id, words_gained
from .advice import advice_for
from .agreement import agreement
from .alike import numbered, open_questions, settled, unlike_bandwidth, unlike_elicited
from .context import accuracy_map, context_map, context_of
from .contrast import additions, before_after, spread_point, sustained_holds
from .contrasts import contrast, contrasts_beside
from .ear_and_figure import ear_and_figure
from .follow import Followed, follow
from .frame import DAYS_A_MONTH, Frame, ViewRequest, make_frame
from .heard import consistencies, heard_groups, words_heard
from .own_comparison import own_comparisons
from .phases import phase_question
from .presence import followed_by_presence, presence
from .rejudged import changed_method
from .series import first_baseline
from .session import expected, is_main_s, is_str, is_z, summarise, word_key
from .sets import fades


def view(case: Case, asked: ViewRequest | None = None) -> CaseView:
    """Compute everything of one client from what was observed.

    Returns
    -------
    CaseView
        Summaries by session, errors, changes, trends and the rest, the main measure first.
    """
    asked = asked or ViewRequest()
    frame = make_frame(case, asked)
    summaries = _summaries(frame)
    followed = [follow(frame, key, summaries) for key in frame.keys]
    judged = [(one.session, one.accuracy) for one in summaries if one.accuracy is not None]
    rule, last = case.client.move_up, summaries[-1] if summaries else None
    found = CaseView(
        client=case.client,
        measures=frame.keys,
        summaries=summaries,
        errors=tuple(one.error for one in followed),
        changes=tuple(change for one in followed for change in one.changes),
        trends=tuple(one.trend for one in followed),
        effects=tuple(one.effect for one in followed),
        advice=(*_advice(frame), *asked.not_lent),
        ear_and_figure=ear_and_figure(
            frame.keys[0], [one.measures[frame.keys[0]] for one in summaries if frame.keys[0] in one.measures]
        ),
        before_after=before_after(summaries, frame.keys[0]),
        move_up=move_up(rule, last.session.level, judged) if rule is not None and last is not None else None,
        joins=_sentences(frame, followed),
        made_on=asked.today,
        questions=_questions(frame),
        asked_of_devices=asked.questions,
        own_comparisons=own_comparisons(frame),
        reference=frame.series[0].reference if frame.series else "baseline",
        reference_sessions=tuple(one.number for one in frame.series[0].baseline) if frame.series else (),
    )
    found = _with_heard(_with_kinds(_with_kept(found, case), frame), frame)
    found = replace(found, joins=(*found.joins, *_uncorrected(summaries, frame.keys[0])))
    changed = changed_method(case, found, frame.method, lambda other: view(other, replace(asked, lent={})))
    return replace(found, joins=(changed, *found.joins)) if changed else found


def _with_kept(found: CaseView, case: Case) -> CaseView:
    """With what the caseload keeps beside the sounds, as it stands."""
    return replace(
        found,
        events=case.events,
        devices=case.devices,
        earlier=case.earlier,
        goals=case.goals,
        visits=tuple(sorted(case.visits, key=lambda visit: (visit.on, visit.number))),
        runs=case.runs,
    )


def _with_kinds(found: CaseView, frame: Frame) -> CaseView:
    """With figures by kinds of sounds: contexts, sets, contrasts, held sounds, spread, what stands apart."""
    shown = [session for session in frame.sessions if frame.shown(session)]
    return replace(
        found,
        contexts=_contexts(frame, found.summaries),
        sets_of_three=fades(_shown_tokens(frame), frame.keys[:1], frame.method, frame.rater),
        additions=tuple(a for s in frame.sessions if (a := additions(frame.case.tokens_of(s.number), s.number))),
        contrasts=tuple(c for s in shown if (c := _contrast(frame, s))),
        contrasts_beside=tuple(c for s in shown for c in _contrasts_beside(frame, s)),
        sustained=_sustained(frame),
        spreads=_spreads(frame, found.summaries),
        voiced=_apart(frame, voiced=True),
        str_cluster=_apart(frame, voiced=False),
        presence=_presence(frame),
    )


def _with_heard(found: CaseView, frame: Frame) -> CaseView:
    """With what people heard: words gained, agreement, and the same word in several sayings."""
    return replace(
        found,
        generalisation=_generalisation(frame),
        gained=_gained(frame, found.summaries),
        agreement=agreement(frame.case.tokens) if len(_raters(frame.case)) > 1 else None,
        heard=heard_groups(frame),
        words_heard=words_heard(frame),
        consistency=consistencies(frame),
    )


def _raters(case: Case) -> set[str]:
    return {judgement.rater for token in case.tokens for judgement in token.judgements}


def _shown_tokens(frame: Frame) -> list[KeptToken]:
    shown = {session.number for session in frame.sessions if frame.shown(session)}
    return [token for token in frame.case.tokens if token.session in shown]


def _sustained(frame: Frame) -> tuple[SustainedHold, ...]:
    held = [(one, frame.case.tokens_of(one.number)) for one in frame.sessions if frame.shown(one)]
    return tuple(take for one, tokens in held for take in sustained_holds(tokens, frame.following.of(one)))


def _summaries(frame: Frame) -> tuple[SessionSummary, ...]:
    anchor = first_baseline(frame.sessions)
    apart = {session.number: line.apart for line in frame.series for session in line.sessions}
    found = []
    before = dt.date.min
    for session in frame.sessions:
        assert anchor is not None
        events = tuple(event for event in frame.case.events if before < event.on <= session.on)
        found.append(_summary(frame, session, (session.on - anchor.on).days / DAYS_A_MONTH, apart, events))
        before = session.on
    return tuple(found)


def _summary(
    frame: Frame, session: Session, month: float, apart: dict[int, tuple[str, ...]], events: tuple[Event, ...]
) -> SessionSummary:
    tokens = [token for token in frame.wanted(frame.tokens(session), session) if is_main_s(token)]
    shown = frame.shown(session)
    judged = standing(tokens, frame.rater)
    held = session.level == "isolation"  # a held /s/ is a measurement of its own
    keys = frame.keys if shown and not held else ()
    measures = {key: _measured(frame, session, key, tokens) for key in keys}
    places = expected(tokens)
    return SessionSummary(
        session=session,
        month=month,
        measures=measures,
        accuracy=accuracy(judged, rater=frame.rater) if judged else None,
        accuracy_by=_cells(frame, session),
        n_tokens=len(places),
        n_checked=sum(token.reviewed for token in places),
        n_judged=sum(bool(token.judgements) for token in places),
        apart=apart.get(session.number, ()),
        shown=shown,
        events=events,
        age_months=frame.case.client.age_months_on(session.on),
    )


def _measured(frame: Frame, session: Session, key: str, tokens: Sequence[KeptToken]) -> MeasureSummary:
    """One measure of a session, and why it stands apart where it is not under the line's method."""
    found = summarise(tokens, key, frame.under(session, key), rater=frame.rater)
    why = frame.following.why.get(session.number, "") if MEASURES[key].spectral else ""
    return replace(found, apart=(why,)) if why else found


def _cells(frame: Frame, session: Session) -> tuple[AccuracyCell, ...]:
    """Accuracy by position (at the session's own level and cue), level, cue, and treated against untreated."""
    everything = [token for token in frame.case.tokens_of(session.number) if is_main_s(token)]
    here = [token for token in frame.wanted(frame.tokens(session), session) if is_main_s(token)]
    positions = {token_id(t): t.sound.slot.position for t in here if t.sound.slot is not None}
    levels = {token_id(t): t.level or session.level for t in everything}
    cues = {token_id(t): _cue(t, session, frame.rater) for t in everything}
    groups = {token_id(t): f"{'' if frame.treated(t, session) else 'un'}treated words" for t in everything}
    return (
        *accuracy_by(here, frame.rater, "position", dict(positions)),
        *accuracy_by(everything, frame.rater, "level", levels),
        *accuracy_by(everything, frame.rater, "cue", cues),
        *accuracy_by(everything, frame.rater, "group", groups),
    )


def _cue(token: KeptToken, session: Session, rater: str) -> str:
    judgement = judgement_by(token, rater)
    return (judgement.cue if judgement is not None else "") or token.cue or session.cue


def _sentences(frame: Frame, followed: Sequence[Followed]) -> tuple[str, ...]:
    own = [line.sentence for line in frame.series if line.sentence]
    same_day = [
        f"sessions of {session.on.isoformat()}: one {session.phase} a day counts"
        for line in frame.series
        for session in line.sessions
        if session.phase in REFERENCES and not session.bridge and line.main and session not in line.baseline
    ]
    bridges = [sentence for one in followed for sentence in one.bridged]
    damaged = frame.case.set_aside
    aside = f"left out as damaged, so figures here may differ: {', '.join(damaged[:5])}" if damaged else ""
    more = f" and {len(damaged) - 5} more" if len(damaged) > 5 else ""
    unlike = unlike_elicited(frame.sessions)
    apart = [f"session {number} stands apart: {why}" for number, why in frame.following.why.items()]
    sentences = (f"{aside}{more}", frame.following.sentence, *apart, *own, *same_day, *bridges, unlike)
    return tuple(dict.fromkeys([text for text in sentences if text]))


def _uncorrected(summaries: Sequence[SessionSummary], key: str) -> tuple[str, ...]:
    """Say of which sessions no sound had its noise taken out."""
    without = [one.number for one in summaries if key in one.measures and one.measures[key].uncorrected]
    words = "noise could be taken out of no sound, for want of a pause beside the words: compare with care"
    return (f"{numbered(without)}: {words}",) if without else ()


def _presence(frame: Frame) -> tuple[Presence, ...]:
    found = []
    for session in frame.sessions:
        tokens = [token for token in frame.wanted(frame.tokens(session), session) if is_main_s(token)]
        found.append(presence(tokens, session.number, frame.rater, shown=frame.shown(session)))
    return followed_by_presence(found)


def _questions(frame: Frame) -> tuple[str, ...]:
    anchor = first_baseline(frame.sessions)
    if anchor is None:
        return ()
    asked = (phase_question(frame.case.client, frame.sessions), *open_questions(frame.sessions, anchor))
    return tuple(one for one in asked if one)


def _advice(frame: Frame) -> tuple[str, ...]:
    told = advice_for(frame.series[0]) if frame.series else ""
    return (told,) if told else ()


def _contexts(frame: Frame, summaries: Sequence[SessionSummary]) -> tuple[ContextCell, ...]:
    """The ear's map and the main measure's, over sessions on the main line."""
    joined = [one for one in summaries if one.joined]
    numbers = {one.number for one in joined}
    tokens = [t for t in frame.case.tokens if t.session in numbers and is_main_s(t) and counts(t)]
    contexts = {word_key(t): context_of(t.sound.slot) for t in tokens if t.sound.slot is not None}
    judged = [
        (token, judgement.heard == "correct")
        for token in tokens
        if (judgement := judgement_by(token, frame.rater)) is not None
        and judgement.heard in {"correct", "approximation", "distorted", "substituted", "omitted"}
    ]
    key = frame.keys[0]
    measured = [one.measures[key] for one in joined if key in one.measures and not one.measures[key].apart]
    return (*accuracy_map(judged), *context_map(key, measured, contexts, direction=frame.case.client.direction))


def _contrast(frame: Frame, session: Session) -> Contrast | None:
    method = frame.under(session, frame.keys[0])
    return contrast(frame.tokens(session), session.number, frame.keys[0], method, frame.rater)


def _contrasts_beside(frame: Frame, session: Session) -> tuple[Contrast, ...]:
    method = frame.under(session, frame.keys[0])
    return contrasts_beside(frame.tokens(session), session.number, frame.keys[0], method, frame.rater)


def _spreads(frame: Frame, summaries: Sequence[SessionSummary]) -> tuple[SpreadPoint, ...]:
    key = frame.keys[0]
    alike = [one for one in summaries if key in one.measures and not one.measures[key].apart]
    return tuple(spread_point(one.month, one.number, one.measures[key]) for one in alike)


def _generalisation(frame: Frame) -> tuple[AccuracyCell, ...]:
    """The latest judged session in groups: treated, untreated, positions, clusters, /z/, /str/."""
    for session in reversed(frame.sessions):
        tokens = frame.case.tokens_of(session.number)
        if standing(tokens, frame.rater):
            names = {token_id(token): _group(frame, token, session) for token in tokens}
            cells = accuracy_by(list(tokens), frame.rater, f"session {session.number}", names)
            treated = {names[token_id(token)] for token in tokens if _is_treated_word(frame, token, session)}
            return tuple(replace(cell, treated=cell.value in treated) for cell in cells)
    return ()


def _group(frame: Frame, token: KeptToken, session: Session) -> str:
    if is_z(token):
        return "/z/"
    if is_str(token):
        return "/str/"
    if not is_main_s(token):
        return ""
    place = "cluster" if token.sound.cluster else token.sound.position
    level = token.level or session.level
    kind = "treated" if frame.treated(token, session) else "untreated"
    return f"{kind} words, {place}" if level == "word" else f"{level}, {place}"


def _is_treated_word(frame: Frame, token: KeptToken, session: Session) -> bool:
    return (token.level or session.level) == "word" and is_main_s(token) and frame.treated(token, session)


def _gained(frame: Frame, summaries: Sequence[SessionSummary]) -> WordsGained | None:
    """The last judged probe against the first judged one of its level and cue: by ear, whatever the microphone."""
    judged = [one for one in summaries if one.accuracy is not None and one.accuracy.n_scored]
    if not judged:
        return None
    late, asked = judged[-1], _as_asked(frame)
    same = [one for one in judged[:-1] if asked[one.number] == asked[late.number]]
    if not same:
        return None
    early = same[0]
    before, after = (
        [t for t in frame.wanted(frame.tokens(one.session), one.session) if is_main_s(t)] for one in (early, late)
    )
    found = words_gained(before, after, frame.rater, days=(early.on, late.on))
    cautions = (unlike_bandwidth(before, after), unlike_elicited([early.session, late.session]))
    return replace(found, cautions=tuple(one for one in cautions if one)) if found is not None else None


def _as_asked(frame: Frame) -> dict[int, tuple[str, str]]:
    """Level and cue of each session, those not stated as on its line."""
    anchor = first_baseline(frame.sessions)
    assert anchor is not None
    return {number: (level, cue) for number, (_, level, cue, _) in settled(frame.sessions, anchor)[1].items()}


def _apart(frame: Frame, *, voiced: bool) -> dict[int, MeasureSummary]:
    found = {}
    for session in frame.sessions:
        tokens = [token for token in frame.tokens(session) if (is_z if voiced else is_str)(token)]
        if tokens and frame.shown(session):
            found[session.number] = _measured(frame, session, frame.keys[0], tokens)
    return found
