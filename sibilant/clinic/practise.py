"""Home practice sheets from built-in lists, the clinic's own lists, or a client's practice words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from .. import files, lexicon
from ..errors import ListError, RefusedError, UsageError
from ..lexicon import drawing_of
from ..prompts import prompts_from
from ..terms import Prompt
from ..terms.document import Document, PracticeItem
from ..terms.vocabulary import PRACTICE_LEVELS
from .report import FORMS, form_of

__all__ = [
    "FORMS", "SheetRequest", "compose_sheet", "drawing_of", "form_of", "items_of", "make_sheet", "write_sheet",
]  # fmt: skip

if TYPE_CHECKING:
    from ..store import Caseload
    from .caseload import CaseloadHandle

_TICKS = MappingProxyType({"isolation": 5, "syllable": 5, "word": 5, "set-of-three": 3, "phrase": 3, "sentence": 3})


@dataclass(frozen=True, slots=True)
class SheetRequest:
    """What is asked for: a list's name or file (empty: the level's own, or the client's practice words), a level.

    ``probe_words`` true lets words of the client's own probe on the sheet; they count as treated from that day.
    """

    level: str = "word"
    words: str = ""
    client: str = ""
    probe_words: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "level", PRACTICE_LEVELS.read(self.level))
        if not self.words and not self.client and self.level not in ("isolation", "syllable", "sentence"):
            raise UsageError(f"level {self.level} needs words: name a list with --words, or a client")


def make_sheet(request: SheetRequest, path: Path, *, caseload: Caseload | None = None) -> Document:
    """Write a practice sheet; with a client, its words become treated from today.

    Parameters
    ----------
    request : SheetRequest
        What is asked for.
    path : Path
        Where it goes: ``.pdf``, ``.html`` or ``.docx``.
    caseload : Caseload, optional
        The open caseload, needed with a client.

    Raises
    ------
    UsageError
        For another ending, or a client without a caseload.
    RefusedError
        When a word is in the client's probe and that was not allowed.
    ListError
        When an item holds no /s/, or the client has no practice words yet.
    """
    form = form_of(path, "a practice sheet")
    prompts, document = _sheet(request, caseload)
    from .. import report

    files.write_bytes(path, report.render(document, form))
    if request.client and caseload is not None:
        _mark_treated(request.client, prompts, caseload)
    return document


def _sheet(request: SheetRequest, caseload: Caseload | None) -> tuple[tuple[Prompt, ...], Document]:
    """The prompts of a sheet, checked, and the sheet composed."""
    prompts = _allowed(request, caseload)
    subject, mark = _subject(request, caseload)
    return prompts, compose_sheet(request.level, prompts, subject=subject, mark=mark)


def _allowed(request: SheetRequest, caseload: Caseload | None) -> tuple[Prompt, ...]:
    prompts = _prompts(request, caseload)
    _refuse_without_target(prompts)
    if request.client and caseload is not None:
        _refuse_probe_words(request, prompts, caseload)
    return prompts


def sheet_bytes(caseload: CaseloadHandle, code: str | None, request: SheetRequest, form: str) -> bytes:
    """Compose a client's practice sheet and return it as ``pdf``, ``html`` or ``docx``; its words become treated.

    Raises
    ------
    UsageError
        For another form.
    RefusedError, ListError
        As :func:`make_sheet` does.
    """
    from .. import report
    from .caseload import client_or_last, opened

    known = form_of(Path(f"sheet.{form}"), "a practice sheet")
    with opened(caseload) as one:
        asked = replace(request, client=client_or_last(one, code))
        prompts, document = _sheet(asked, one)
        made = report.render(document, known)
        _mark_treated(asked.client, prompts, one)
    return made


def run_items(caseload: CaseloadHandle, code: str | None, request: SheetRequest) -> list[dict[str, object]]:
    """Return what is said in a practice run, in order: each item in runs of letters, its word and its drawing's.

    Nothing is kept by it, and no word becomes treated before it is said.

    Raises
    ------
    RefusedError
        When a word is in the client's probe and that was not allowed.
    ListError
        When an item holds no /s/, or the client has no practice words yet.
    """
    from .caseload import client_or_last, opened

    with opened(caseload) as one:
        asked = replace(request, client=client_or_last(one, code))
        prompts = _allowed(asked, one)
    return [
        {
            "runs": item.runs(),
            "word": prompt.text if prompt.level == "word" else "",
            "drawn": prompt.text if item.drawing else "",
        }
        for item, prompt in zip(items_of(asked.level, prompts), prompts, strict=True)
    ]


def take_back(caseload: CaseloadHandle, code: str | None, day: dt.date) -> tuple[str, ...]:
    """Take back what became treated on a day, as when a sheet was made and not used; return the words.

    Raises
    ------
    UsageError
        When nothing became treated on that day.
    """
    from ..store import change_client, get_client
    from .caseload import client_or_last, opened

    with opened(caseload) as one:
        name = client_or_last(one, code)
        revision, treated = one.revision(name), get_client(one, name).treated
        words = tuple(sorted(word for word, since in treated.items() if since == day))
        if not words:
            raise UsageError(f"{name}: no word became treated on {day}; sibilant client show {name} lists them")
        left = {word: since for word, since in treated.items() if since != day}
        change_client(one, name, {"treated": left}, made_on=revision)
    return words


def write_sheet(request: SheetRequest, path: Path, *, caseload: CaseloadHandle | None = None) -> Document:
    """Write a practice sheet, opening the caseload where a client is named (see ``make_sheet``)."""
    if not request.client or caseload is None:
        return make_sheet(request, path)
    from .caseload import client_or_last, opened

    with opened(caseload) as one:
        code = client_or_last(one, request.client)
        return make_sheet(replace(request, client=code), path, caseload=one)


def compose_sheet(level: str, prompts: Sequence[Prompt], *, subject: str = "", mark: str = "") -> Document:
    """Compose a sheet of a level from prompts, in their order.

    Examples
    --------
    >>> from sibilant import lexicon
    >>> sheet = compose_sheet("set-of-three", [lexicon.expect("seal")])
    >>> [part.text for part in sheet.parts if isinstance(part, PracticeItem)]
    ['seal – seal – seal']
    """
    from ..report.practice import practice_sheet

    return practice_sheet(PRACTICE_LEVELS.read(level), items_of(level, prompts), subject=subject, mark=mark)


def items_of(level: str, prompts: Sequence[Prompt]) -> list[PracticeItem]:
    """What stands on the sheet, the target's letters and those of other sibilants marked.

    A word asked for in phrases stands in a carrier; in sentences, in one of the built-in sentences that hold it.

    Examples
    --------
    >>> from sibilant import lexicon
    >>> [item.text for item in items_of("sentence", [lexicon.expect("goose"), lexicon.expect("snap")])]
    ['The goose and the mouse race over the ice.', 'We found the snap again.']
    """
    if level == "phrase":
        prompts = [_in_carrier(number, prompt) for number, prompt in enumerate(prompts)]
    elif level == "sentence":
        prompts = _in_sentences(prompts)
    return [_item(level, prompt) for prompt in prompts]


def _in_sentences(prompts: Sequence[Prompt]) -> list[Prompt]:
    """A sentence for each prompt: its own where it is one, else a built-in one that holds it, each of these once."""
    free = list(lexicon.builtin_list("sentences"))
    found = []
    for number, prompt in enumerate(prompts):
        if prompt.level != "word":
            found.append(prompt)
            continue
        holds = next((one for one in free if prompt.text.lower() in one.text.lower().rstrip(".").split()), None)
        if holds is not None:
            free.remove(holds)
        found.append(holds or _in_carrier(number, prompt))
    return found


def _item(level: str, prompt: Prompt) -> PracticeItem:
    ticks = _TICKS[level]
    if (shown := lexicon.family_spelling(prompt.text, prompt.level)) != prompt.text:
        places = tuple((n, n + 1) for n, letter in enumerate(shown) if letter == "s")
        return PracticeItem(shown, places, (), ticks)
    drawing = drawing_of(prompt.text)
    places = lexicon.sibilant_letters(prompt)
    marked = [(slot.phone == prompt.target, place) for slot, place in zip(prompt.slots, places, strict=True)]
    target = tuple(place for is_target, place in marked if is_target and place[1] > place[0])
    others = tuple(place for is_target, place in marked if not is_target and place[1] > place[0])
    if level != "set-of-three":
        return PracticeItem(prompt.text, target, others, ticks, drawing=drawing)
    step = len(prompt.text) + 3
    return PracticeItem(
        " – ".join([prompt.text] * 3),
        tuple((a + n * step, b + n * step) for n in range(3) for a, b in target),
        tuple((a + n * step, b + n * step) for n in range(3) for a, b in others),
        ticks,
        drawing=drawing,
    )


def _in_carrier(number: int, prompt: Prompt) -> Prompt:
    carriers = [one.text for one in lexicon.builtin_list("carriers")]
    phones = " ".join(prompt.phones)
    return lexicon.fill_carrier(carriers[number % len(carriers)], prompt.text, phones=phones, target=prompt.target)


def _prompts(request: SheetRequest, caseload: Caseload | None) -> tuple[Prompt, ...]:
    own = {"isolation": "sustained", "syllable": "syllables", "sentence": "sentences"}
    if request.words:
        return prompts_from(request.words)
    if request.level in own:
        return tuple(prompt for prompt in prompts_from(own[request.level]) if _has_target(prompt))
    if caseload is None:
        raise UsageError("a client's sheet needs the caseload it is kept in")
    from ..store import get_client

    words = sorted(get_client(caseload, request.client).treated)
    if not words:
        raise ListError(f"{request.client} has no practice words yet; name a list with --words, such as pool-s-initial")
    return tuple(lexicon.expect(word) for word in words)


def _has_target(prompt: Prompt) -> bool:
    return any(slot.phone == prompt.target for slot in prompt.slots)


def _refuse_without_target(prompts: Sequence[Prompt]) -> None:
    lacking = [prompt.text for prompt in prompts if not _has_target(prompt)]
    if lacking:
        shown = ", ".join(repr(text) for text in lacking[:3])
        raise ListError(f"{shown}: without the sound to practise; take it off the list, or give its phones")


def _subject(request: SheetRequest, caseload: Caseload | None) -> tuple[str, str]:
    if not request.client or caseload is None:
        return "", ""
    from ..charts import INVENTED
    from ..store import get_client

    client = get_client(caseload, request.client)
    return client.code, INVENTED if client.invented else ""


def _refuse_probe_words(request: SheetRequest, prompts: Sequence[Prompt], caseload: Caseload) -> None:
    """Words of the client's probe stay off the sheet: untreated words are what shows carry-over."""
    from ..store import get_client, read_case

    if request.probe_words:
        return
    treated = set(get_client(caseload, request.client).treated)
    probed = {token.prompt.lower() for token in read_case(caseload, request.client).tokens} - treated
    on_both = [prompt.text for prompt in prompts if prompt.text.lower() in probed]
    if on_both:
        raise RefusedError(
            f"{request.client}: {', '.join(on_both[:5])} in its probe list, which is to stay unpractised; "
            "choose other words, or say --probe-words (they then count as treated)"
        )


def _mark_treated(code: str, prompts: Sequence[Prompt], caseload: Caseload) -> None:
    from ..store import change_client, get_client

    revision, treated = caseload.revision(code), dict(get_client(caseload, code).treated)
    today = caseload.clock().date()
    fresh = {prompt.text.lower(): today for prompt in prompts if prompt.level == "word"}
    change_client(caseload, code, {"treated": fresh | treated}, made_on=revision)
