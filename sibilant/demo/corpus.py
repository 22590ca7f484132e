"""The invented corpus of a student: sounds, manifest, two judges, two files broken on purpose."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path

from .. import audio, files, lexicon, synthetic, tables
from ..errors import OutputError
from ..synthetic import CorpusFile, DemoCorpus, corpus_take, demo_s_corpus
from ..terms import Prompt

LISTS = ("core-a", "core-b")
WORDS = "words.csv"
MARK = "sibilant-demo.txt"
WORKERS = 2  # any machine has two cores; the tables don't hang on it
_MANIFEST = (
    tables.Column("recording", "string", "path of the recording below this folder"),
    tables.Column("words", "string", "list of the prompts, in the order spoken"),
    tables.Column("speaker", "string", "code of the invented speaker"),
    tables.Column("group", "string", "child, woman or man (invented)"),
    tables.Column("type", "string", "the way of saying /s/ that the file was made with"),
    tables.Column("note", "string", "the mark of invented data"),
)
_JUDGED = (
    tables.Column("recording", "string", "path of the recording below this folder"),
    tables.Column("prompt_index", "integer", "place in the list"),
    tables.Column("slot", "integer", "sibilant within the prompt"),
    tables.Column("judge", "string", "code of the invented judge"),
    tables.Column("type", "string", "what the invented judge heard"),
)


def make_corpus(folder: Path, *, n_speakers: int = 12, n_words: int = 40) -> list[str]:
    """Build Demo-S in a folder and return lines that say what was made and what to do next.

    Parameters
    ----------
    folder : Path
        A new or empty folder.
    n_speakers, n_words : int
        Fewer make a smaller corpus, for tests.

    Raises
    ------
    OutputError
        When the folder holds something else, or can't be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise OutputError(f"{folder.name}: is not an empty folder; name another for the invented corpus with --to")
    files.make_folder(folder / "recordings")
    files.write_text(folder / MARK, f"{synthetic.INVENTED}\nMade by: sibilant demo --corpus\n")
    plan, prompts = _planned(n_speakers, n_words)
    with ProcessPoolExecutor(WORKERS, get_context("spawn")) as pool:
        asked = [(folder, number, n_speakers, n_words) for number in range(len(plan.files))]
        list(pool.map(_speak, asked, chunksize=4))
    _write_tables(folder, plan, prompts)
    return [
        synthetic.INVENTED,
        f"{len(plan.files)} files in {folder}/recordings, two of them broken on purpose; words, manifest and two judges"
        " beside them",
        f"Go on with: sibilant corpus {folder}/manifest.csv --to {folder}/measured",
        f"Then: sibilant study {folder}/measured/tokens.csv --by type --reference typical --judgements"
        f" {folder}/judgements.csv --to {folder}/study",
    ]


def place_of(file: CorpusFile) -> str:
    """Path of a file below the corpus folder."""
    return f"recordings/{file.name}.wav"


@lru_cache(maxsize=1)
def _planned(n_speakers: int, n_words: int) -> tuple[DemoCorpus, tuple[Prompt, ...]]:
    """Plan and prompts, made once in each worker: invented speakers don't travel between processes."""
    prompts = tuple(prompt for name in LISTS for prompt in lexicon.builtin_list(name))
    return demo_s_corpus(n_speakers, n_words), prompts[:n_words]


def _speak(asked: tuple[Path, int, int, int]) -> None:
    """Write one file of the plan."""
    folder, number, n_speakers, n_words = asked
    plan, prompts = _planned(n_speakers, n_words)
    file = plan.files[number]
    path = folder / place_of(file)
    if file.broken == "empty":
        files.write_bytes(path, b"")
    elif file.broken:
        files.write_text(path, f"This is not a sound. {synthetic.INVENTED}\n")
    else:
        spoken = corpus_take(file, prompts)
        audio.write_wav(path, spoken.samples, spoken.sampling_rate_hz)


def _write_tables(folder: Path, plan: DemoCorpus, prompts: tuple[Prompt, ...]) -> None:
    columns = (tables.Column("word", "string", "the prompt as spoken"),)
    rows: list[tables.Row] = [{"word": prompt.text} for prompt in prompts]
    tables.write_table(folder / WORDS, rows, columns, title=f"Words. {synthetic.INVENTED}")
    listed: list[tables.Row] = [
        {
            "recording": place_of(file),
            "words": WORDS,
            "speaker": file.speaker.code,
            "group": file.speaker.group,
            "type": file.sibilant_type,
            "note": synthetic.INVENTED,
        }
        for file in plan.files
    ]
    tables.write_table(folder / "manifest.csv", listed, _MANIFEST, title=f"Demo-S. {synthetic.INVENTED}")
    places = {file.name: place_of(file) for file in plan.files}
    judged: list[tables.Row] = [
        {
            "recording": places[one.file],
            "prompt_index": one.prompt_index,
            "slot": one.slot,
            "judge": one.judge,
            "type": one.type,
        }
        for one in plan.judgements
    ]
    tables.write_table(folder / "judgements.csv", judged, _JUDGED, title=f"Two judges. {synthetic.INVENTED}")
