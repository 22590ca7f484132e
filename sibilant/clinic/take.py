"""A probe under way: each stretch of sound looked at and kept as it comes, so that a crash loses a word at most.

A take lies in the caseload until it is finished or thrown away, sealed where the caseload is encrypted: ``take.json``
and one float WAV a stretch. When it is finished, the stretches of each prompt become one recording, which is kept as
any probe is.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import secrets
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from .. import audio, files, lexicon, store
from ..errors import CaseloadError, RefusedError, UsageError
from ..listening.check import check_sound
from ..prompts import list_form, prompts_from
from ..terms import Prompt, Recording
from ..terms.vocabulary import CUES, ELICITED, KEEPS, LEVELS, PHASES
from .answers import TakeMoved, TakeState
from .caseload import CaseloadHandle, client_or_last, opened
from .heard import ProbeResult
from .probe import ProbeRequest, keep_probe, refuse_without_consent

STATE = "take.json"
LEAST_RATE_HZ = 44_100  # what /s/ needs up to 15 kHz, with room for the filter
LEAST_S, LONGEST_S = 0.1, 180.0  # shorter holds no word; a longer stretch is no word
TOO_SHORT = "too short to hold a word; say it again, and press the key after it"
PROCESSING = ("echoCancellation", "noiseSuppression", "autoGainControl", "voiceIsolation")
Samples = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class TakeRequest:
    """What is to be captured: the list, the conditions, and what the microphone says of itself.

    ``words`` names a built-in list, or ``listed`` is the text of a LIST.csv; ``microphone`` are the settings that the
    browser reads back from the track. ``pictures``: each word is shown as its drawing, so that it is had by picture.
    """

    words: str = ""
    listed: str = ""
    level: str = ""
    cue: str = "spontaneous"
    device: str = ""
    phase: str = ""
    keep: str = "words"
    modelled: bool = False
    elicited: str = ""
    pictures: bool = False
    sampling_rate_hz: int = 0
    microphone: Mapping[str, Any] = field(default_factory=dict)


def refuse_microphone(sampling_rate_hz: int, microphone: Mapping[str, Any]) -> None:
    """Refuse a microphone whose sound is processed on its way, or comes at a rate too low for sibilants.

    Raises
    ------
    RefusedError
        Names the setting and the way out.

    Examples
    --------
    >>> refuse_microphone(48000, {"noiseSuppression": False})
    """
    on = [name for name in PROCESSING if microphone.get(name) not in (None, False, "", "none")]
    if on:
        raise RefusedError(
            f"this microphone's sound is processed ({', '.join(on)} is on though it was asked to be off);"
            " choose another microphone or browser, or switch it off in the system's sound settings"
        )
    if sampling_rate_hz < LEAST_RATE_HZ:
        raise RefusedError(
            f"this microphone gives {sampling_rate_hz} samples a second and {LEAST_RATE_HZ} are needed; raise its rate"
            " in the system's sound settings, or choose a wired microphone (many wireless ones are slower)"
        )


def begin(caseload: CaseloadHandle, code: str | None, request: TakeRequest) -> TakeState:
    """Begin a take; return its state.

    Raises
    ------
    RefusedError
        Without consent to recording, with a microphone that can't serve, or when a take is under way already.
    UsageError, ListError
        When a condition or the list can't be used.
    """
    request, prompts = _known(request)
    with opened(caseload) as one, store.takes_alone(one):
        client = store.get_client(one, client_or_last(one, code))
        refuse_without_consent(client)
        if store.has_draft(one, client.code, STATE):
            raise RefusedError(f"{client.code}: a take is under way; continue it, finish it or throw it away first")
        store.erase_drafts(one, client.code)
        state: TakeState = {
            "client": client.code,
            "take": secrets.token_hex(8),
            "begun": one.clock().isoformat(timespec="seconds"),
            "on": store.day_of(one).isoformat(),
            "level": request.level,
            "cue": request.cue,
            "device": request.device,
            "phase": request.phase,
            "keep": request.keep,
            "modelled": request.modelled,
            "elicited": request.elicited,
            "pictures": request.pictures,
            "sampling_rate_hz": request.sampling_rate_hz,
            "form": list_form(request.words, prompts),
            "microphone": dict(request.microphone),
            "prompts": [_as_row(prompt) for prompt in prompts],
            "place": 1,
            "stretches": [],
            "spoilt": [],
        }
        return _write(one, state)


def _known(request: TakeRequest) -> tuple[TakeRequest, tuple[Prompt, ...]]:
    """What was asked, its conditions known, with its prompts; what is shown by pictures is had by them."""
    refuse_microphone(request.sampling_rate_hz, request.microphone)
    CUES.read(request.cue)
    LEVELS.read_or_empty(request.level)
    PHASES.read_or_empty(request.phase)
    KEEPS.read(request.keep)
    ELICITED.read_or_empty(request.elicited)
    prompts = prompts_given(request.words, request.listed)
    if request.pictures:
        _refuse_undrawn(prompts)
        request = replace(request, elicited="picture")
    return request, prompts


def _refuse_undrawn(prompts: Sequence[Prompt]) -> None:
    """Forms must stay alike: a probe by pictures has one for every word, or none at all."""
    lacking = [prompt.text for prompt in prompts if not lexicon.drawing_of(prompt.text)]
    if lacking:
        raise UsageError(
            f"{', '.join(lacking[:3])}: no drawing; a probe by pictures needs one for every word;"
            " the list pictured has them"
        )


def prompts_given(words: str, listed: str) -> tuple[Prompt, ...]:
    """Prompts of a built-in list that can be asked word by word, or of the text of a LIST.csv.

    Raises
    ------
    UsageError
        When both or neither is given, or the list has a place to fill.
    """
    if bool(words) == bool(listed):
        raise UsageError("choose one of the lists, or give a LIST.csv of your own; one of the two")
    if listed:
        with tempfile.TemporaryDirectory(prefix="sibilant-") as folder:
            path = Path(folder) / "LIST.csv"
            files.write_text(path, listed)
            return prompts_from(str(path))
    prompts = prompts_from(words) if words in lexicon.list_names() else ()
    if not prompts or any(lexicon.BLANK in prompt.text for prompt in prompts):
        raise UsageError(f"{words[:40]}: no list that can be asked word by word; choose another")
    return prompts


def _as_row(prompt: Prompt) -> dict[str, Any]:
    return {
        "text": prompt.text,
        "phones": " | ".join(" ".join(word.phones) for word in prompt.words),
        "target": prompt.target,
        "level": prompt.level,
        "cue": prompt.cue,
        "treated": prompt.treated,
    }


def spelt(row: Mapping[str, Any]) -> str:
    """A prompt of a take's state as it stands on the screen, syllables as a family would write them."""
    return lexicon.family_spelling(row["text"], row["level"])


def _from_row(row: Mapping[str, Any], recording: str) -> Prompt:
    return replace(lexicon.expect(**row), recording=recording)


def under_way(caseload: CaseloadHandle, code: str | None) -> TakeState | None:
    """Return the state of a client's take, or None where none is under way."""
    with opened(caseload) as one:
        name = client_or_last(one, code)
        return _read(one, name) if store.has_draft(one, name, STATE) else None


def go_on(
    caseload: CaseloadHandle, code: str | None, *, sampling_rate_hz: int, microphone: Mapping[str, Any]
) -> TakeState:
    """Continue a take after an interruption, under a new mark; what another page still holds of it is then refused.

    Raises
    ------
    RefusedError
        When none is under way, or the microphone is not like the one it was begun with.
    """
    refuse_microphone(sampling_rate_hz, microphone)
    with opened(caseload) as one, store.takes_alone(one):
        state = _held(one, code)
        if sampling_rate_hz != state["sampling_rate_hz"]:
            raise RefusedError(
                f"the take was begun at {state['sampling_rate_hz']} samples a second and this microphone gives"
                f" {sampling_rate_hz}; choose the same microphone, or finish what is there"
            )
        return _write(one, {**state, "take": secrets.token_hex(8)})


def keep_stretch(
    caseload: CaseloadHandle, code: str | None, samples: Samples, *, take: str, place: int, onward: bool
) -> TakeMoved:
    """Look at one stretch and keep it, or say why the word is asked again; return the state with ``again``.

    ``onward``: the next word follows; otherwise the same word is said once more and both are kept.

    Raises
    ------
    RefusedError
        When the take is not this one any more.
    UsageError
        When the stretch is empty, too long, not sound, or of another place than the one under way.
    """
    from ..suitability.stretch import spoilt

    with opened(caseload) as one, store.takes_alone(one):
        state = _held(one, code, take, place)
        rate = state["sampling_rate_hz"]
        if place > len(state["prompts"]):
            raise UsageError("all words are said; go back to one, or measure and keep what is there")
        if not samples.size or samples.size > LONGEST_S * rate or not np.isfinite(samples).all():
            raise UsageError(f"a stretch of sound up to {LONGEST_S:.0f} s is needed; press P for pauses")
        if reason := spoilt(samples, rate) if samples.size >= LEAST_S * rate else TOO_SHORT:
            state["spoilt"].append({"place": place, "reason": reason})
            return {**_write(one, state), "again": reason}
        number = len(state["stretches"]) + 1
        store.write_draft(one, state["client"], _name(number), audio.wav_bytes(samples, rate))
        state["stretches"].append({"place": place, "number": number, "n_samples": int(samples.size)})
        state["place"] = place + 1 if onward else place
        return {**_write(one, state), "again": ""}


def _name(number: int) -> str:
    return f"{number:04d}.wav"


def step(caseload: CaseloadHandle, code: str | None, *, take: str, place: int, back: bool = False) -> TakeState:
    """Go to the next word without a stretch, or back to the one before."""
    with opened(caseload) as one, store.takes_alone(one):
        state = _held(one, code, take, place)
        wanted = place - 1 if back else place + 1
        return _write(one, {**state, "place": min(max(1, wanted), len(state["prompts"]) + 1)})


def finish(caseload: CaseloadHandle, code: str | None, *, modelled: bool = False, anyway: bool = False) -> ProbeResult:
    """Keep a take as a session, one recording a prompt, and erase what is not to be kept.

    One recording a prompt, since it is known which word was on the screen: no word can then be taken for its neighbour.
    Measuring takes seconds, in which others may go on: what is kept is kept only if the take is still as it was read,
    and nobody has a hand in it until its drafts are gone.

    Raises
    ------
    RefusedError
        When none is under way, no word was said, or it was changed in another window while it was measured.
    """
    with opened(caseload) as one, store.takes_alone(one):
        state = _held(one, code)
        said = {place: _joined(one, state, place) for place in sorted({each["place"] for each in state["stretches"]})}
        if said:
            store.announce_session(one, state["client"], [recording.source.sha256 for recording in said.values()])
    if not said:
        raise RefusedError(f"{state['client']}: no word was said in this take; throw it away, or go on with it")
    state["modelled"] = state["modelled"] or modelled
    asked = replace(_request(state, said), anyway=anyway)
    return keep_probe(caseload, state["client"], asked, within=partial(_as_measured, state))


@contextlib.contextmanager
def _as_measured(state: TakeState, one: store.Caseload) -> Iterator[None]:
    """Hold a take that is still as it was measured; erase it once it is kept."""
    code = state["client"]
    with store.takes_alone(one):
        now = _read(one, code) if store.has_draft(one, code, STATE) else None
        if now is None or any(now[part] != state[part] for part in ("take", "stretches")):
            raise RefusedError(
                f"{code}: this take was changed in another window while it was measured, so nothing was kept of what"
                " was measured; load the page again"
            )
        yield
        store.erase_drafts(one, code)


def _joined(one: store.Caseload, state: TakeState, place: int) -> Recording:
    """The stretches of one prompt as one recording, in the order said."""
    numbers = [each["number"] for each in state["stretches"] if each["place"] == place]
    parts = [audio.recording_from_bytes(store.read_draft(one, state["client"], _name(number))) for number in numbers]
    samples = np.concatenate([part.samples for part in parts])
    return audio.recording_from_samples(samples, state["sampling_rate_hz"], f"word-{place:03d}")


def _request(state: TakeState, said: Mapping[int, Recording]) -> ProbeRequest:
    rate = state["sampling_rate_hz"] / 1000
    n_spoilt = len(state["spoilt"])
    prompts = tuple(
        _from_row(row, said[place].source.path if place in said else "")
        for place, row in enumerate(state["prompts"], start=1)
    )
    return ProbeRequest(
        tuple(said.values()),
        "",
        on=dt.date.fromisoformat(state["on"]),
        prompts=prompts,
        form=state["form"],
        note=f"recorded on the page at {rate:g} kHz, processing off"
        + (f"; {n_spoilt} spoilt and asked again" if n_spoilt else ""),
        level=state["level"],
        cue=state["cue"],
        device=state["device"],
        phase=state["phase"],
        keep=state["keep"],
        modelled=state["modelled"],
        elicited=state.get("elicited", ""),
    )


def throw_away(caseload: CaseloadHandle, code: str | None) -> int:
    """Erase a take; return how many stretches went."""
    with opened(caseload) as one, store.takes_alone(one):
        state = _held(one, code)
        store.erase_drafts(one, state["client"])
    return len(state["stretches"])


def try_out(samples: Samples, sampling_rate_hz: int) -> dict[str, Any]:
    """Say of a trial stretch (a pause, then a word with /s/) what the room and microphone can support; keep nothing."""
    from ..suitability.stretch import spoilt

    refuse_microphone(sampling_rate_hz, {})
    reason = spoilt(samples, sampling_rate_hz) if samples.size else "no sound arrived"
    if reason:
        return {"again": reason, "verdict": {}, "remedies": []}
    recording = audio.recording_from_samples(samples, sampling_rate_hz, "trial")
    return {"again": "", **check_sound(recording, "trial")}


def _held(one: store.Caseload, code: str | None, take: str | None = None, place: int | None = None) -> TakeState:
    """The state of a client's take; with ``take`` and ``place`` it must be that very one, at that word."""
    name = client_or_last(one, code)
    if not store.has_draft(one, name, STATE):
        raise RefusedError(f"{name}: no take is under way; begin one")
    state = _read(one, name)
    if take is not None and take != state["take"]:
        raise RefusedError(f"{name}: this take was continued in another window; go on there, or load this page again")
    if place is not None and place != state["place"]:
        raise UsageError(f"word {place} is not the one under way ({state['place']}); load the page again")
    return state


def _read(one: store.Caseload, name: str) -> TakeState:
    try:
        state: TakeState = files.from_json(store.read_draft(one, name, STATE))
    except ValueError as error:
        raise CaseloadError(f"{STATE}: the take of {name} can't be read; throw it away") from error
    return state


def _write(one: store.Caseload, state: TakeState) -> TakeState:
    content = json.dumps(state, ensure_ascii=False, indent=1).encode()
    store.write_draft(one, state["client"], STATE, content)
    return state
