"""Record a session: measure a probe, keep it, and say what was heard; no figures before the ear has judged."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from .. import audio, progress, store
from ..errors import ListError, RefusedError, UsageError
from ..prompts import at_level, list_form, prompts_from, prompts_of
from ..terms import Method, Prompt, Recording
from ..terms.clinic import Client, Session
from ..terms.therapy import NOT_STATED
from ..terms.vocabulary import CUES, CUES_WITH_MODEL, ELICITED, KEEPS, LEVELS, PHASES, SUPPORTS
from . import doubts
from .caseload import CaseloadHandle, client_or_last, cloud_cautions, day_known, day_or_last, opened, used
from .followed import methods_for
from .heard import HeardRecording, ProbeResult, count_as_asked, recording_row, unsaid_rows, word_rows
from .keeping import in_no_recording, keep
from .notes import Note
from .reminders import reminders
from .therapy import in_its_phase

DEVICE_OPEN = "not stated"
Within = Callable[[store.Caseload], contextlib.AbstractContextManager[None]]
"""What is held, and looked at again, round the step that keeps."""


@dataclass(frozen=True, slots=True)
class ProbeRequest:
    """What is to be kept: recordings in the order spoken, the list, and the conditions of the session.

    A recording is a file or, from the page, sound in memory. ``prompts`` may be given instead of a list's name, and
    ``form`` then names the list form. ``modelled``: each word is said by somebody else first and is heard in the
    recording; its cue is then a model's. ``anyway``: keep it without asking about list and voices. ``methods`` are
    those that the client's sounds are measured under; empty: those that fit the client.
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
    anyway: bool = False
    bridge: bool = False
    channel: int | None = None
    note: str = ""
    form: str = ""
    prompts: tuple[Prompt, ...] = ()
    elicited: str = ""
    methods: tuple[Method, ...] = ()


def nothing_held(_one: store.Caseload) -> contextlib.AbstractContextManager[None]:
    """Hold nothing while a session is kept: its recordings are files of their own."""
    return contextlib.nullcontext()


def keep_probe(
    caseload: CaseloadHandle, code: str | None, request: ProbeRequest, *, within: Within = nothing_held
) -> ProbeResult:
    """Measure and keep one session; ``within`` is entered once it is measured, and held while it is kept.

    Raises
    ------
    RefusedError
        When a recording is kept already, or consent to recording was not given or was withdrawn.
    QuestionError
        When few of the words were heard, or another voice came before most, and nobody has answered yet.
    UsageError
        When a condition is not one of those known.
    InputError
        When a recording or the list can't be used.
    """
    _check(request)
    request = _with_its_cue(request)
    with opened(caseload) as one:
        name = client_or_last(one, code)
        client = store.get_client(one, name)
        listed = request.words or client.list_form
        prompts = _asked(request.prompts or prompts_from(listed), request)
        refuse_without_consent(client)
        day_known(one, day_or_last(one, request.on), "a probe", client)
        recordings = [
            given if isinstance(given, Recording) else audio.read_recording(given, channel=request.channel)
            for given in request.recordings
        ]
        store.refuse_kept(one, [recording.source.sha256 for recording in recordings])
        request = replace(request, methods=request.methods or methods_for(store.read_case(one, name)))
        request, heard = _heard_as_meant(request, recordings, prompts)
        request, noted = _with_its_device(one, client, request)
        session = _session(one, client, request, listed, prompts)
        spoken = _spoken(heard, prompts)
        with within(one):
            kept = keep(one, session, heard, spoken)
        used(one, name, kept.number, request.on)
        told = _result(one, client, kept, heard, spoken)
        return replace(told, notes=(*noted, *told.notes))


def _check(request: ProbeRequest) -> None:
    if not request.recordings:
        raise UsageError("no recording given; name one or more sound files")
    CUES.read(request.cue)
    KEEPS.read(request.keep)
    LEVELS.read_or_empty(request.level)
    PHASES.read_or_empty(request.phase)
    ELICITED.read_or_empty(request.elicited)


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
    cue, level = CUES.read(request.cue), LEVELS.read_or_empty(request.level)
    return tuple(at_level(replace(prompt, cue=prompt.cue or cue), level) for prompt in prompts)


def _with_its_device(
    one: store.Caseload, client: Client, request: ProbeRequest
) -> tuple[ProbeRequest, tuple[Note, ...]]:
    """Fill in the device used last with this client where none is said, and say so, or that none is stated."""
    before = store.sessions(one, client.code)
    used_last = next((session for session in reversed(before) if session.device), None)
    if not request.device and used_last is not None:
        line = Note(f"device {used_last.device}, as in session {used_last.number}", "--device says another")
        return replace(request, device=used_last.device), (line,)
    if request.device not in {"", DEVICE_OPEN}:
        return request, ()
    n_open = 1 + sum(not session.device for session in before)
    of = "this session" if n_open == 1 else f"{n_open} sessions"
    line = Note(
        f"device not stated for {of}; change can't be judged across unlike devices, so say which it was",
        f"sibilant session change {client.code} --device NAME --not-stated",
    )
    return replace(request, device=""), (line,)


def _with_its_cue(request: ProbeRequest) -> ProbeRequest:
    """A model that is heard before each word is a cue: never called spontaneous."""
    with_model = request.modelled and CUES.read(request.cue) == "spontaneous"
    return replace(request, cue="model") if with_model else request


def _heard_as_meant(
    request: ProbeRequest, recordings: Sequence[Recording], prompts: Sequence[Prompt]
) -> tuple[ProbeRequest, list[HeardRecording]]:
    """Listen; ask about list and voices where there is doubt; where a model was said and is heard, tell them apart."""
    heard = _listen(request, recordings, prompts)
    if not request.modelled and CUES.read(request.cue) in CUES_WITH_MODEL and doubts.model_came_first(heard):
        request = replace(request, modelled=True)
        heard = _listen(request, recordings, prompts)
    if request.anyway:
        return request, heard
    if not request.modelled:
        doubts.ask_about_model(heard)
    doubts.ask_about_list(heard, request.form or list_form(request.words, prompts))
    return request, heard


def _listen(request: ProbeRequest, recordings: Sequence[Recording], prompts: Sequence[Prompt]) -> list[HeardRecording]:
    """Analyse each recording with the prompts it holds: those that name it, or the whole list again."""
    named = any(prompt.recording for prompt in prompts)
    heard = []
    from ..pipeline import analyse

    for number, (given, recording) in enumerate(zip(request.recordings, recordings, strict=True)):
        path = given if isinstance(given, Path) else Path(given.source.path)
        own = prompts_of(prompts, path)
        if not own:
            raise ListError(f"{path.name}: the list names no prompt for this recording; fill its column recording")
        chosen = {id(prompt) for prompt in own}
        first = 0 if named else number * len(prompts)
        places = tuple(first + i for i, prompt in enumerate(prompts, start=1) if id(prompt) in chosen)
        modelled = request.modelled
        heard.append(
            HeardRecording(recording, analyse(recording, own, methods=request.methods, modelled=modelled), places)
        )
    return heard


def _spoken(heard: Sequence[HeardRecording], prompts: Sequence[Prompt]) -> tuple[Prompt, ...]:
    """All prompts by their place: the list once, or once for each recording that holds it whole."""
    last = max(place for one in heard for place in one.places)
    return tuple(prompts[place % len(prompts)] for place in range(max(last, len(prompts))))


def _session(
    one: store.Caseload, client: Client, request: ProbeRequest, listed: str, prompts: Sequence[Prompt]
) -> Session:
    cue = CUES.read(request.cue)
    levels = Counter(prompt.level for prompt in prompts).most_common(1)
    return Session(
        client=client.code,
        number=0,
        on=day_or_last(one, request.on),
        level=LEVELS.read_or_empty(request.level) or levels[0][0],
        cue=cue,
        device=request.device,
        room=request.room,
        list_form=request.form or list_form(listed, prompts),
        phase=PHASES.read_or_empty(request.phase) or NOT_STATED,
        modelled=request.modelled or cue in CUES_WITH_MODEL,
        bridge=request.bridge,
        keep=KEEPS.read(request.keep),
        note=request.note,
        elicited=ELICITED.read_or_empty(request.elicited),
    )


def _called(session: Session) -> str:
    """Name a probe by its phase, where it has one."""
    return "probe" if session.phase == NOT_STATED else f"{session.phase} probe"


def _result(
    one: store.Caseload, client: Client, session: Session, heard: Sequence[HeardRecording], prompts: Sequence[Prompt]
) -> ProbeResult:
    words = [row for each in heard for row in word_rows(each)] + unsaid_rows(in_no_recording(heard, prompts))
    words.sort(key=lambda row: (row["prompt_index"], row["attempt"] or 0))
    so_far = store.sessions(one, client.code)
    session, asked = in_its_phase(client, so_far, session)
    notes = [Note(f"{_called(session)}; list {session.list_form}, level {session.level}, cue {session.cue}"), *asked]
    if session.device and session.device not in {device.name for device in store.devices(one)}:
        notes.append(Note(f"device {session.device} is not registered", f"sibilant device add {session.device}"))
    if advice := progress.baseline_advice(client, so_far):
        notes.append(Note(advice))
    if client.consent is None:
        notes.append(Note("no consent to recording is on record", "sibilant client change --consent-by"))
    if session.modelled:
        notes.append(Note("after a model the cue makes a line of its own, apart from spontaneous words"))
        notes.append(Note("no word counts until a person has confirmed whose voice it is", "sibilant review --voices"))
    if one.place.ear_first:
        notes.append(Note("the ear comes first, figures follow", f"sibilant judge {client.code} {session.number}"))
    notes += [Note(line) for line in cloud_cautions(one.folder)] + list(reminders(one.folder))
    found = max((each.analysis.suitability for each in heard), key=lambda each: SUPPORTS.index(each.verdict.worst))
    each_one = tuple(recording_row(each) for each in heard)
    n_as_asked = sum(map(count_as_asked, heard))
    return ProbeResult(
        session, tuple(words), found.verdict.as_dict(), found.remedies, tuple(notes), each_one, n_as_asked
    )
