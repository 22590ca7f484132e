"""Record a session: measure a probe, keep it, and say what was heard; no figures before the ear has judged."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, get_args

import numpy as np

from .. import acoustics, audio, lexicon, methods, store
from ..analyse import analyse
from ..errors import ListError, RefusedError, UsageError
from ..terms import Interval, Prompt, Recording, Token
from ..terms.clinic import ELICITED, Client, Keep, Session
from ..terms.therapy import NOT_STATED, Phase
from .caseload import client_or_last, cloud_cautions, day_or_last, opened, used
from .heard import Heard, ProbeResult, recording_row, unsaid_rows, word_rows
from .prompts import prompts_from, prompts_of
from .therapy import in_its_phase

SUPPORTS = ("usable", "with care", "not usable")
HOUSE = ("house-15k", "house-10k", "house-7k")
CUES = {
    "S": "spontaneous",
    "D": "delayed model",
    "M": "model",
    "M+": "model with a cue",
    "J": "joint",
}
WITH_MODEL = frozenset(CUES.values()) - {"spontaneous"}
ISOLATION = "isolation"
ROUND_THE_WORD_S = 0.25


@dataclass(frozen=True, slots=True)
class ProbeRequest:
    """What is to be kept: recordings in the order spoken, the list, and the conditions of the session.

    A recording is a file or, from the page, sound in memory. ``prompts`` may be given instead of a list's name, and
    ``form`` then names the list form.
    """

    recordings: Sequence[Path | Recording]
    words: str
    on: dt.date | None = None
    level: str = ""
    cue: str = "spontaneous"
    device: str = ""
    room: str = ""
    phase: str = ""
    keep: str = "words"
    modelled: bool = False
    bridge: bool = False
    channel: int | None = None
    note: str = ""
    form: str = ""
    prompts: tuple[Prompt, ...] = ()
    elicited: str = ""


def keep_probe(caseload: Path | None, code: str | None, request: ProbeRequest) -> ProbeResult:
    """Measure and keep one session.

    Raises
    ------
    RefusedError
        When a recording is kept already, or consent to recording was not given or was withdrawn.
    UsageError
        When a condition is not one of those known.
    InputError
        When a recording or the list can't be used.
    """
    _check(request)
    with opened(caseload) as one:
        name = client_or_last(one, code)
        client = store.get_client(one, name)
        listed = request.words or client.list_form
        prompts = _asked(request.prompts or prompts_from(listed), request)
        refuse_without_consent(client)
        recordings = [
            given if isinstance(given, Recording) else audio.read_recording(given, channel=request.channel)
            for given in request.recordings
        ]
        store.refuse_kept(one, [recording.source.sha256 for recording in recordings])
        heard = _listen(request, recordings, prompts)
        session = _session(one, client, request, listed, prompts)
        spoken = _spoken(heard, prompts)
        kept = _keep(one, session, heard, spoken)
        used(one, name, kept.number, request.on)
        return _result(one, client, kept, heard, spoken)


def cue_name(cue: str) -> str:
    """Return a cue level's name from its letter or name.

    Raises
    ------
    UsageError
        When it is neither.

    Examples
    --------
    >>> cue_name("M+")
    'model with a cue'
    """
    known = {**CUES, **{value: value for value in CUES.values()}}
    if (found := known.get(cue.strip()) or known.get(cue.strip().upper()) or known.get(cue.strip().lower())) is None:
        letters = ", ".join(f"{letter} ({name})" for letter, name in CUES.items())
        raise UsageError(f"cue {cue[:20]!r} is none of {letters}")
    return found


def _check(request: ProbeRequest) -> None:
    if not request.recordings:
        raise UsageError("no recording given; name one or more sound files")
    cue_name(request.cue)
    if request.keep not in get_args(Keep):
        raise UsageError(f"--keep {request.keep[:20]}: words, all or none")
    if request.elicited not in ("", *ELICITED):
        raise UsageError(f"--elicited {request.elicited[:20]}: one of {', '.join(ELICITED)}")
    if request.phase and request.phase not in get_args(Phase):
        raise UsageError(f"--phase {request.phase[:20]}: one of {', '.join(get_args(Phase))}")


def refuse_without_consent(client: Client) -> None:
    """Refuse to keep anything of a client whose consent to recording was withdrawn or not given.

    Raises
    ------
    RefusedError
        In both cases.
    """
    consent = client.consent
    if consent is not None and consent.withdrawn_on is not None:
        raise RefusedError(
            f"{client.code}: consent was withdrawn, so nothing more is kept; sibilant client show says when"
        )
    if consent is not None and not consent.recording:
        raise RefusedError(
            f"{client.code}: no consent to recording is on record; change it with sibilant client change"
        )


def _asked(prompts: Sequence[Prompt], request: ProbeRequest) -> tuple[Prompt, ...]:
    """Return the prompts with the session's cue and level where the list does not say its own."""
    if not prompts:
        raise UsageError("--words: a probe needs the list that was spoken; name a LIST.csv or a built-in list")
    cue = cue_name(request.cue)
    return tuple(
        replace(
            prompt,
            cue=cue_name(prompt.cue) if prompt.cue else cue,
            level=request.level if request.level and prompt.level == "word" else prompt.level,
        )
        for prompt in prompts
    )


def _listen(request: ProbeRequest, recordings: Sequence[Recording], prompts: Sequence[Prompt]) -> list[Heard]:
    """Analyse each recording with the prompts it holds: those that name it, or the whole list again."""
    used_methods = [methods.get_method(name) for name in HOUSE]
    named = any(prompt.recording for prompt in prompts)
    heard = []
    for number, (given, recording) in enumerate(zip(request.recordings, recordings, strict=True)):
        path = given if isinstance(given, Path) else Path(given.source.path)
        own = prompts_of(prompts, path)
        if not own:
            raise ListError(f"{path.name}: the list names no prompt for this recording; fill its column recording")
        chosen = {id(prompt) for prompt in own}
        first = 0 if named else number * len(prompts)
        places = tuple(first + i for i, prompt in enumerate(prompts, start=1) if id(prompt) in chosen)
        modelled = request.modelled
        heard.append(Heard(recording, analyse(recording, own, methods=used_methods, modelled=modelled), places))
    return heard


def _spoken(heard: Sequence[Heard], prompts: Sequence[Prompt]) -> tuple[Prompt, ...]:
    """All prompts by their place: the list once, or once for each recording that holds it whole."""
    last = max(place for one in heard for place in one.places)
    return tuple(prompts[place % len(prompts)] for place in range(max(last, len(prompts))))


def _session(
    one: store.Caseload, client: Client, request: ProbeRequest, listed: str, prompts: Sequence[Prompt]
) -> Session:
    cue = cue_name(request.cue)
    levels = Counter(prompt.level for prompt in prompts).most_common(1)
    return Session(
        client=client.code,
        number=0,
        on=day_or_last(one, request.on),
        level=request.level or levels[0][0],
        cue=cue,
        device=request.device,
        room=request.room,
        list_form=request.form or list_form(listed, prompts),
        phase=request.phase or NOT_STATED,  # type: ignore[arg-type]
        modelled=request.modelled or cue in WITH_MODEL,
        bridge=request.bridge,
        keep=request.keep,  # type: ignore[arg-type]
        note=request.note,
        elicited=request.elicited,
    )


def list_form(listed: str, prompts: Sequence[Prompt]) -> str:
    """Name a list form: a built-in list by its name, another by its prompts; a file's name is never kept.

    Examples
    --------
    >>> list_form("core-a", ()), list_form("any-file.csv", prompts_from(say="seal, bus"))
    ('core-a', 'list-37b83e')
    """
    if listed in lexicon.list_names():
        return listed
    spoken = "\n".join(f"{prompt.text}\t{' '.join(prompt.phones)}" for prompt in prompts)
    return f"list-{hashlib.sha256(spoken.encode()).hexdigest()[:6]}"


def _keep(one: store.Caseload, session: Session, heard: Sequence[Heard], prompts: tuple[Prompt, ...]) -> Session:
    verdict = _worst(heard)
    with store.at_work(one):
        clips = tuple(clip for each in heard for clip in _words(one, each)) if session.keep != "none" else ()
        recordings = tuple(_recording(one, each, whole=session.keep == "all") for each in heard)
        tokens: tuple[tuple[int | None, Token], ...] = tuple(
            (place, token)
            for place, each in enumerate(heard)
            for token in _tokens(each, prompts, modelled=session.modelled)
        )
        if unsaid := _in_no_recording(heard, prompts):
            together = [*tokens, *((None, token) for token in unsaid)]
            tokens = tuple(sorted(together, key=lambda pair: pair[1].prompt_index))
        new = store.NewSession(replace(session, verdict=verdict), prompts, recordings, tokens, clips)
        return store.keep_session(one, new)


def _worst(heard: Sequence[Heard]) -> str:
    return max((each.analysis.suitability.verdict.worst for each in heard), key=SUPPORTS.index)


def _recording(one: store.Caseload, each: Heard, *, whole: bool) -> store.NewRecording:
    source, recording = each.recording.source, each.recording
    clip = _lossless(one, recording.samples, recording.sampling_rate_hz) if whole else None
    found = {"duration_s": recording.duration_s, **each.analysis.suitability.as_dict()}
    return store.NewRecording(source.sha256, recording.sampling_rate_hz, recording.duration_s, found, clip)


def _lossless(one: store.Caseload, samples: Any, sampling_rate_hz: int) -> tuple[str, str]:
    """Keep sound as FLAC where 24 bits hold it exactly, else as float WAV; return hash and suffix."""
    scaled = np.asarray(samples, dtype=np.float64) * 2**23
    exact = bool(np.all(scaled == np.round(scaled)) and np.abs(samples).max(initial=0.0) <= 1.0)
    made = audio.flac_bytes(samples, sampling_rate_hz) if exact else audio.wav_bytes(samples, sampling_rate_hz)
    suffix = ".flac" if exact else ".wav"
    return store.keep_clip(one, made, suffix), suffix


def _words(one: store.Caseload, each: Heard) -> list[store.NewClip]:
    """Keep each attempt that may be the client's, with a quarter of a second round it."""
    kept = []
    for spoken in each.analysis.utterances:
        if spoken.voice == "other" or not spoken.prompt_index:
            continue
        start = max(0.0, spoken.interval.onset_s - ROUND_THE_WORD_S)
        stretch = Interval(start, spoken.interval.offset_s + ROUND_THE_WORD_S)
        sha256, suffix = _lossless(one, each.recording.cut(stretch), each.recording.sampling_rate_hz)
        place = each.places[spoken.prompt_index - 1]
        first = round(start * each.recording.sampling_rate_hz) / each.recording.sampling_rate_hz
        kept.append(store.NewClip(place, spoken.attempt, sha256, suffix, first))
    return kept


def _tokens(each: Heard, prompts: Sequence[Prompt], *, modelled: bool) -> list[Token]:
    """Tokens under their places in the whole list; a prompt not heard has one for every sibilant it expects.

    After a model no token counts until a person has confirmed whose voice it is: the client's become unsure.
    """
    placed: list[Token] = []
    for token in each.analysis.tokens:
        place = each.places[token.prompt_index - 1] if token.prompt_index else 0
        spoken = token.utterance
        if spoken is not None:
            voice = "unsure" if modelled and spoken.voice == "client" else spoken.voice
            spoken = replace(spoken, prompt_index=place, voice=voice)
        _, _, rest = token.id.partition(".")
        kept = replace(token, id=f"{place}.{rest}" if rest else f"{place}", prompt_index=place, utterance=spoken)
        kept = _held(each.recording, kept) if place and prompts[place - 1].level == ISOLATION else kept
        unheard = kept.utterance is None and place > 0
        placed += _for_each_slot(kept, prompts[place - 1]) if unheard else [kept]
    return placed


def _in_no_recording(heard: Sequence[Heard], prompts: Sequence[Prompt]) -> list[Token]:
    """Tokens of prompts that the list puts into none of the recordings: not heard, and counted as such."""
    placed = {place for each in heard for place in each.places}
    return [
        token
        for place, prompt in enumerate(prompts, start=1)
        if place not in placed
        for token in _for_each_slot(
            Token(str(place), None, "prompt_missing", prompt_text=prompt.text, prompt_index=place), prompt
        )
    ]


def _held(recording: Recording, token: Token) -> Token:
    """Add the measures of a held sound to a token said in isolation: length, steadiness, drift, breaks."""
    if token.sibilant is None or token.measures is None or token.method is None:
        return token
    take = acoustics.sustained(recording, token.sibilant.interval, method=token.method)
    values = {**token.measures.values, **take.values}
    flags = tuple(dict.fromkeys((*token.measures.flags, *take.flags)))
    return replace(token, measures=replace(token.measures, values=values, flags=flags))


def _called(session: Session) -> str:
    """Name a probe by its phase, where it has one."""
    return "probe" if session.phase == NOT_STATED else f"{session.phase} probe"


def _for_each_slot(token: Token, prompt: Prompt) -> list[Token]:
    """A prompt not heard, as attempt 0: one token for every sibilant it expects, or one where it expects none."""
    slots = [replace(token, id=f"{token.prompt_index}.0.{slot.index}", slot=slot) for slot in prompt.slots]
    return slots or [replace(token, id=f"{token.prompt_index}.0")]


def _result(
    one: store.Caseload, client: Client, session: Session, heard: Sequence[Heard], prompts: Sequence[Prompt]
) -> ProbeResult:
    words = [row for each in heard for row in word_rows(each)] + unsaid_rows(_in_no_recording(heard, prompts))
    words.sort(key=lambda row: (row["prompt_index"], row["attempt"] or 0))
    session, asked = in_its_phase(client, store.sessions(one, client.code), session)
    notes = [f"{_called(session)}; list {session.list_form}, level {session.level}, cue {session.cue}", *asked]
    if session.device and session.device not in {device.name for device in store.devices(one)}:
        notes.append(f"device {session.device} is not registered: sibilant device add {session.device}")
    if client.consent is None:
        notes.append("no consent to recording is on record: sibilant client change --consent-by")
    if session.modelled:
        notes.append("after a model no word counts until a person has confirmed whose voice it is: sibilant review")
    if one.place.ear_first:
        notes.append(f"the ear comes first: judge with sibilant judge {client.code} {session.number}; figures follow")
    notes += list(cloud_cautions(one.folder))
    found = max((each.analysis.suitability for each in heard), key=lambda each: SUPPORTS.index(each.verdict.worst))
    each_one = tuple(recording_row(each) for each in heard)
    return ProbeResult(session, tuple(words), found.verdict.as_dict(), found.remedies, tuple(notes), each_one)
