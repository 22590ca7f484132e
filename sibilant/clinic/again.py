"""A client's kept sounds measured again under the present methods: all at once, both values kept."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from .. import progress, store
from ..errors import CaseloadError
from ..terms import Cut, Measurement, Measures, Method, Recording, Sound
from ..terms.clinic import Case, MethodChoice
from ..terms.kept import KeptToken
from .answers import MeasuredAgain
from .around import by_own_margins, kept_of, kept_word, measured_in, shifted
from .caseload import CaseloadHandle, client_or_last, opened, used
from .followed import is_earlier, methods_for
from .keeping import ISOLATION, with_hold

if TYPE_CHECKING:
    from ..pipeline import Kept

Fresh = list[tuple[int, str, Measurement]]
RIDGE = {"tonality_1_db": "tonality_db", "tonality_width_hz": "whistle_width_hz"}
"""Measures that earlier programs gave under the present methods, and those that they give now: two of each, never one
name for both."""


@dataclass(slots=True)
class _Told:
    """What is to be said of a measuring: by session, sounds whose word is not there or damaged; own margins."""

    lost: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    damaged: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    n_own_margins: int = 0


@dataclass(frozen=True, slots=True)
class _Word:
    """A kept word, where it starts, its sounds to be measured, and what the recording showed around it."""

    recording: Recording
    start_s: float
    tokens: tuple[KeptToken, ...]
    kept: Kept | None


def measure_client_again(caseload: CaseloadHandle, code: str | None) -> MeasuredAgain:
    """Measure all kept sounds of a client that the present methods have not measured yet, and say what came of it.

    Everything is kept in one step or nothing; what was measured before stays beside it. A client whose baseline can't
    be measured again goes on under the earlier version, and later sounds are measured under that too.

    Raises
    ------
    RefusedError
        When somebody corrected, moved or removed meanwhile.
    """
    with opened(caseload) as one:
        name = client_or_last(one, code)
        case = store.read_case(one, name)
        around = store.read_surroundings(one, name)
        told = _Told()
        wanted = methods_for(case)
        fresh = [
            each
            for session in case.sessions
            for each in _of_session(one, case, session.number, around.get(session.number, {}), wanted, told)
        ]
        after = _with(case, fresh)
        before, now = progress.followed(case).method, progress.followed(after).method
        if fresh:
            choice = MethodChoice(store.day_of(one), "", before) if now != before else None
            store.add_measured(one, name, fresh, followed=choice, made_on=case.revision)
        used(one, name)
    return _result(case, after, fresh, told)


def _of_session(
    one: store.Caseload, case: Case, number: int, around: store.Around, wanted: Sequence[Method], told: _Told
) -> Fresh:
    """Measure what a session's kept words lack."""
    todo = [token for token in case.tokens_of(number) if _lacks(token, wanted)]
    words = list(_words(one, todo, around, told))
    cut = _settled_cut([_observed(word) for word in words if word.kept is None])
    found: Fresh = []
    for word in words:
        kept = word.kept or replace(_observed(word), cut=cut)
        missing = [token for token in word.tokens if any(one.label not in token.measurements for one in wanted)]
        told.n_own_margins += len(missing) * (word.kept is None)
        for method in wanted:
            for boundary, sounds in _boundaries(word.tokens, method):
                measured = measured_in(word.recording, word.start_s, sounds, method, kept)
                found += [
                    (number, boundary, _as_kept(word, sound, again))
                    for sound, again in zip(sounds, measured, strict=True)
                ]
    return found


def _lacks(token: KeptToken, wanted: Sequence[Method]) -> bool:
    return token.sound.edges is not None and any(_without(token, method) for method in wanted)


def _without(token: KeptToken, method: Method) -> bool:
    """Whether a method has not measured a sound, or has it as an earlier program did under the same label."""
    one = token.measurements.get(method.label)
    return one is None or _to_add(one)


def _to_add(kept: Measurement) -> bool:
    values = kept.measures.values
    return kept.method.noise == "taken out" and any(was in values and now not in values for was, now in RIDGE.items())


def _what_it_lacks(token: KeptToken, measured: Measurement) -> Measurement:
    """What is added to a measurement that is kept: the ridge, which hangs on no noise; else all that was measured."""
    if measured.method.label not in token.measurements:
        return measured
    values = {key: value for key, value in measured.measures.values.items() if key in RIDGE.values()}
    flags = tuple(flag for flag in measured.measures.flags if flag == "tonal")
    return replace(measured, measures=Measures(values, flags=flags), flags=())


def _words(one: store.Caseload, tokens: Sequence[KeptToken], around: store.Around, told: _Told) -> Iterator[_Word]:
    """The kept words of sounds; those without, or damaged, are counted."""
    by_clip: dict[str, list[KeptToken]] = defaultdict(list)
    for token in tokens:
        by_clip[token.clip].append(token)
    for clip, those in by_clip.items():
        try:
            recording, start_s = kept_word(one, clip)
        except CaseloadError:
            told.damaged[those[0].session] += len(those)
            continue
        if recording is None:
            told.lost[those[0].session] += len(those)
        else:
            yield _Word(recording, start_s, tuple(those), kept_of(those[0], around))


def _observed(word: _Word) -> Kept:
    """What the word's own margins show."""
    from ..pipeline import observe

    return observe(word.recording, [shifted(token.sound, -word.start_s) for token in word.tokens])


def _settled_cut(observed: Sequence[Kept]) -> Cut | None:
    """Where a recording was cut off by what its words show: the middle one where half of them or more show one."""
    cuts = sorted(one.cut.frequency_hz for one in observed if one.cut is not None)
    return Cut(cuts[(len(cuts) - 1) // 2]) if cuts and 2 * len(cuts) >= len(observed) else None


def _boundaries(tokens: Sequence[KeptToken], method: Method) -> Iterator[tuple[str, list[Sound]]]:
    """The sounds that lack a method: as they were bounded by themselves, and as a person bounded them."""
    lacking = [token for token in tokens if _without(token, method)]
    moved = [token.sound for token in lacking if token.sound.edges is not None and token.sound.edges.review is not None]
    plain = [token.sound for token in lacking if token.sound not in moved]
    by_machine = [_unmoved(sound) for sound in moved if sound.edges is not None and "by_hand" not in sound.edges.flags]
    for boundary, sounds in (("automatic", [*plain, *by_machine]), ("reviewed", moved)):
        if sounds:
            yield boundary, sounds


def _unmoved(sound: Sound) -> Sound:
    return replace(sound, edges=sound.edges and replace(sound.edges, review=None))


def _as_kept(word: _Word, sound: Sound, measured: Measurement) -> Measurement:
    """Add what a held sound has beside, and the flag of a word that has nothing but its own margins."""
    said = word.tokens[0].level == ISOLATION
    found = with_hold(word.recording, shifted(sound, -word.start_s), measured) if said else measured
    token = next(one for one in word.tokens if one.key == sound.id)
    return _what_it_lacks(token, found if word.kept is not None else by_own_margins(found))


def _with(case: Case, fresh: Fresh) -> Case:
    """The case as it will be read: a person's edges count where there are any."""
    by_sound: dict[tuple[int, str], dict[str, Measurement]] = defaultdict(dict)
    for number, _, one in sorted(fresh, key=lambda each: each[1] == "reviewed"):
        by_sound[number, one.sound_id][one.method.label] = one
    tokens = tuple(
        replace(token, measurements={**by_sound.get((token.session, token.key), {}), **token.measurements})
        for token in case.tokens
    )
    return replace(case, tokens=tokens)


def _result(case: Case, after: Case, fresh: Fresh, told: _Told) -> MeasuredAgain:
    before, now = progress.followed(case).method, progress.followed(after).method
    return {
        "client": case.client.code,
        "measured": len({(number, one.sound_id) for number, _, one in fresh}),
        "methods": sorted({one.method.label for _, _, one in fresh}),
        "own_margins": told.n_own_margins,
        "without_sound": dict(told.lost),
        "damaged": dict(told.damaged),
        "followed_before": before,
        "followed": now,
        "other_verdicts": progress.other_verdicts(progress.view(case), progress.view(after)) if now != before else [],
    }


def lines(done: MeasuredAgain) -> list[str]:
    """Say in a few lines what was measured again, what could not be, and what the client is followed under."""
    code, now = done["client"], done["followed"]
    if not done["measured"]:
        first = f"{code}: nothing to measure again: all kept sounds have figures under the present methods"
    else:
        first = (
            f"{code}: {done['measured']} sounds measured again under {', '.join(done['methods'])}; the figures before"
            " stay beside them"
        )
    rows = [first]
    if done["own_margins"]:
        rows.append(f"{done['own_margins']} of them with the noise of their own margins: nothing more was kept then")
    for lost, why in (
        (done["without_sound"], "their sound is not kept"),
        (done["damaged"], "their kept word is damaged"),
    ):
        rows += [f"session {number}: {n} sounds not measured again: {why}" for number, n in lost.items()]
    if now != done["followed_before"]:
        rows += [f"followed under {now} from now on, {done['followed_before']} before", *done["other_verdicts"]]
    elif is_earlier(now):
        rows.append(
            f"goes on under {now}, with the present methods beside it, until there is a new baseline: the baseline"
            " can't be measured again"
        )
    return rows
