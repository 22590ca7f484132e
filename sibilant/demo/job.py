"""The whole job on invented clients: recordings, a caseload, judgements, charts, reports, and a page to open first."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from .. import audio, files, lexicon, store, synthetic, tables
from ..clinic import clients, judge, probe
from ..clinic.caseload import CaseloadHandle
from ..errors import OutputError, UsageError
from ..synthetic.clients import ClientStory, StorySession, StoryTake, invented_clients, story_take
from ..terms import Prompt
from ..terms.clinic import Consent, Device
from ..terms.therapy import Therapy
from . import page as demo_page
from .page import Made

FIRST_DAY = dt.date(2026, 1, 12)
MARK = "sibilant-demo.txt"
CASELOAD = "caseload"
WORKERS = 2  # any machine has two cores; the tables don't hang on it
_TARGETS = {
    "C-7QXK": ("centroid_hz", "higher"),
    "C-M4RT": ("centroid_hz", "higher"),
    "C-9HVD": ("core_duration_ms", "none"),
    "C-2WPN": ("centroid_hz", "none"),
    "C-A83L": ("tonality_db", "lower"),
}


def make_demo(folder: Path) -> Path:
    """Build the demonstration in a folder; return the page to open first.

    Raises
    ------
    OutputError
        When the folder holds something else, or can't be written.
    """
    _prepare(folder)
    stories = sorted(invented_clients(), key=lambda story: -len(story.sessions))
    caseload = CaseloadHandle(folder / CASELOAD)
    _register(caseload)
    with ProcessPoolExecutor(WORKERS, get_context("spawn")) as pool:
        made = list(pool.map(make_client, [folder] * len(stories), [story.code for story in stories]))
    order = [story.code for story in invented_clients()]
    page = demo_page.index(sorted(made, key=lambda each: order.index(each.code)))
    files.write_text(folder / "index.html", page)
    return folder / "index.html"


def _prepare(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder.name}: a file stands here; name a folder for the demonstration")
    if folder.is_dir() and any(folder.iterdir()):
        hint = "it holds an earlier demonstration; delete it first" if (folder / MARK).exists() else "it is not empty"
        raise OutputError(f"{folder.name}: {hint}, or name another folder with --to")
    for part in ("recordings", "lists", "tables", "pictures", "charts", "reports"):
        files.make_folder(folder / part)
    files.write_text(folder / MARK, f"{synthetic.INVENTED}\nMade by: sibilant demo\n")


def _register(caseload: CaseloadHandle) -> None:
    """Make the caseload and its two microphones, so that the workers find both."""
    with caseload.opened(who="demo", create=True):
        pass
    for name in ("headset", "tablet"):
        clients.add_device(caseload, Device(name, "microphone", "Room 4", 20.0, added_on=FIRST_DAY))


def one_client(folder: Path, code: str) -> CaseloadHandle:
    """Keep one invented client, recorded and judged, in a folder; one that is there already is left as it is.

    Raises
    ------
    UsageError
        When no invented client has that code.
    OutputError
        When the folder holds something else, or a demonstration without this client.
    """
    stories = {story.code: story for story in invented_clients()}
    if code not in stories:
        raise UsageError(f"{code[:20]}: no invented client; there are {', '.join(stories)}")
    caseload = CaseloadHandle(folder / CASELOAD, "demo")
    if not _is_kept(folder, caseload, stories[code]):
        _prepare(folder)
        _register(caseload)
        _keep(folder, caseload, stories[code])
    return caseload


def _is_kept(folder: Path, caseload: CaseloadHandle, story: ClientStory) -> bool:
    if not (folder / MARK).exists():
        return False
    with caseload.opened() as one:
        return story.code in store.codes(one) and len(store.sessions(one, story.code)) == len(story.sessions)


def make_client(folder: Path, code: str) -> Made:
    """Invent one client's sessions, keep and judge them, and write what a clinician would."""
    os.environ["SIBILANT_WHO"] = "demo"
    story = next(one for one in invented_clients() if one.code == code)
    _keep(folder, CaseloadHandle(folder / CASELOAD, "demo"), story)
    written, lines = demo_page.write_up(folder, story)
    return Made(code, story.summary, clients.age_text(story.age_months), tuple(written), tuple(lines))


def _keep(folder: Path, caseload: CaseloadHandle, story: ClientStory) -> None:
    """Record, keep and judge every session of a client."""
    _add(caseload, story)
    for session in story.sessions:
        _hold(folder, caseload, story, session)
    for event in story.events:
        clients.add_event(caseload, story.code, event.note, _day(event.day))


def _add(caseload: CaseloadHandle, story: ClientStory) -> None:
    measure, direction = _TARGETS[story.code]
    fields = {
        "main_measure": measure,
        "direction": direction,
        "hearing": "screened, both ears, passed (invented)",
        "hearing_on": FIRST_DAY,
        "reason": story.summary,
        "consent": Consent(FIRST_DAY, "parent (invented)" if story.age_months < 216 else "client (invented)"),
        "invented": True,
        "therapy": Therapy(_day(1 + max(one.day for one in story.sessions if one.phase == "baseline"))),
    }
    clients.add_client(caseload, clients.age_text(story.age_months), code=story.code, on=FIRST_DAY, fields=fields)


def _day(number: int) -> dt.date:
    return FIRST_DAY + dt.timedelta(days=number)


def _hold(folder: Path, caseload: CaseloadHandle, story: ClientStory, session: StorySession) -> None:
    """Record, keep and judge one session; the first and last are kept with sound and drawn in full."""
    name = f"{story.code}-{session.number:02d}"
    prompts = [prompt for listed in session.lists for prompt in lexicon.builtin_list(listed)]
    take = story_take(story, session, prompts)
    in_full = session.number in (1, len(story.sessions))
    recording = folder / "recordings" / f"{name}.wav"
    audio.write_wav(recording, take.spoken.samples, take.spoken.sampling_rate_hz)
    words = _write_list(folder / "lists" / f"{story.code}.csv", prompts)
    probe.keep_probe(
        caseload,
        story.code,
        probe.ProbeRequest(
            [recording],
            str(words),
            on=_day(session.day),
            device=session.device,
            room="Room 4",
            keep="words" if in_full else "none",
        ),
    )
    heard = _write_judgements(folder / "tables" / f"{name}-heard.csv", take)
    done = judge.judge_from(caseload, story.code, session.number, heard, rater="R1")
    if done["judged"] < done["to_judge"]:
        _judge_the_rest(caseload, story.code, session.number)
    if not in_full:
        recording.unlink()


def _judge_the_rest(caseload: CaseloadHandle, code: str, number: int) -> None:
    """Call what the invented rater's list does not name, such as a second attempt, not scorable."""
    left = judge.queue(caseload, code, number, rater="R1")
    for one in left.left:
        if one.key.count(".") == 2 and ".x" not in one.key:
            judge.record(caseload, left, one.key, "not_scorable", note="not in the invented rater's list")


def _write_list(path: Path, prompts: Sequence[Prompt]) -> Path:
    """Write a client's word list once: the same list form all year."""
    columns = (
        tables.Column("word", "string", "the prompt as spoken"),
        tables.Column("target", "string", "the target sound"),
    )
    if not path.exists():
        rows = [{"word": prompt.text, "target": prompt.target.lower()} for prompt in prompts]
        tables.write_table(path, rows, columns, title=f"Probe list. {synthetic.INVENTED}")
    return path


def _write_judgements(path: Path, take: StoryTake) -> Path:
    """Write what the invented rater heard, as JUDGEMENTS.csv."""
    columns = (
        tables.Column("prompt_index", "integer", "place in the list"),
        tables.Column("attempt", "integer", "attempt at the prompt"),
        tables.Column("slot", "integer", "sibilant within the prompt"),
        tables.Column("accuracy", "string", "what the invented rater heard"),
        tables.Column("type", "string", "type of distortion"),
        tables.Column("certainty", "string", "sure or unsure"),
    )
    rows: list[tables.Row] = [
        {
            "prompt_index": one.prompt_index,
            "attempt": one.attempt,
            "slot": max(1, one.slot),
            "accuracy": one.accuracy,
            "type": one.type,
            "certainty": one.certainty,
        }
        for one in take.judgements
    ]
    tables.write_table(path, rows, columns, title=f"Judgements by ear. {synthetic.INVENTED}")
    return path
