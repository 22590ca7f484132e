"""Many recordings come in and one table goes out; a table comes in and groups compared go out, as data frames."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from .. import corpus, study
from ..corpus import CorpusRequest, Outcome
from ..research import study_columns, study_rows, study_said
from ..study import Question, Study
from ..tables import as_frame, described
from ..tables.parquet import read_frame
from .picture import MOST_ROWS, short

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, eq=False)
class Corpus:
    """A corpus measured: ``table`` with a row for every sibilant, ``outcome`` with the counts, ``folder``.

    Examples
    --------
    See ``run_corpus``, which makes one.

    >>> Corpus.__slots__
    ('folder', 'table', 'outcome')
    """

    folder: Path
    table: pd.DataFrame = field(repr=False)
    outcome: Outcome

    def __repr__(self) -> str:
        counted = f"{self.outcome.n_recordings} recordings, {self.outcome.n_unreadable} unreadable"
        return f"Corpus({self.folder.name}: {counted}, {self.outcome.n_tokens} sibilants; .table .outcome)"


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """Groups compared: ``table`` with each difference by the primary analysis and the other, ``summary``, ``study``.

    Examples
    --------
    See ``compare_groups``, which makes one.

    >>> Compared.__slots__
    ('table', 'summary', 'study')
    """

    table: pd.DataFrame = field(repr=False)
    summary: tuple[str, ...]
    study: Study = field(repr=False)

    def __repr__(self) -> str:
        return f"Compared({self.summary[0]}; .table .summary .study)"

    def _repr_html_(self) -> str:
        told = "".join(f"<p>{escape(line)}</p>" for line in self.summary)
        return told + self.table.to_html(index=False, na_rep="", float_format=short, border=0, max_rows=MOST_ROWS)


def run_corpus(
    source: str | os.PathLike[str],
    to: str | os.PathLike[str],
    *,
    words: str | os.PathLike[str] = "",
    method: str | Sequence[str] = (),
    workers: int = 2,
    resume: bool = False,
) -> Corpus:
    """Measure every recording of a folder or manifest, one row for every sibilant.

    Parameters
    ----------
    source : path
        A folder of recordings, or MANIFEST.csv.
    to : path
        Folder for ``tokens.csv``, ``tokens.parquet`` and ``run.json``.
    words : str or path
        Prompts for recordings that name none of their own: LIST.csv or a built-in list.
    method : str or sequence of str
        One or more names (see ``list_methods``); without any, the widest house method that most recordings' rates hold.
    workers : int
        Processes; a script that asks for more than one guards its start with ``if __name__ == "__main__":``.
    resume : bool
        Go on with a run that was cut short; the tables are then the same to the byte.

    Returns
    -------
    Corpus
        With ``table`` (a data frame) and ``outcome``.

    Raises
    ------
    InputError
        When the corpus can't be read as one, or the folder holds an earlier run.

    Notes
    -----
    docs/corpus.md tells the manifest and the tables.

    Examples
    --------
    >>> import shutil, tempfile
    >>> import sibilant as sib
    >>> with tempfile.TemporaryDirectory() as at:
    ...     (Path(at) / "sounds").mkdir()
    ...     _ = shutil.copy(sib.reference_sounds() / "ktuberling-stick.ogg", Path(at) / "sounds")
    ...     found = sib.run_corpus(Path(at) / "sounds", Path(at) / "measured", workers=1)
    >>> found.outcome.n_recordings, set(found.table["recording"])
    (1, {'ktuberling-stick.ogg'})
    """
    names = (method,) if isinstance(method, str) else tuple(method)
    order = CorpusRequest(Path(source), Path(to), names, os.fspath(words), workers, resume=resume)
    outcome = corpus.run(order)
    return Corpus(order.to, described(read_frame(order.to / corpus.TOKENS_CSV)), outcome)


def compare_groups(
    table: str | os.PathLike[str] | pd.DataFrame,
    by: str,
    *,
    speaker: str = "speaker",
    measures: Sequence[str] = (),
    primary: Literal["", "mixed", "paired"] = "",
    where: Sequence[str] = (),
    phone: str = "",
) -> Compared:
    """Compare groups of speakers in a table of sibilants.

    Parameters
    ----------
    table : path or DataFrame
        A table that ``measure``, ``run_corpus`` or the command line made, with a column for groups and speakers.
    by : str
        Column of the groups.
    speaker : str
        Column of the speakers.
    measures : sequence of str
        Keys of ``MEASURES``; the usual ones that the table holds without it.
    primary : str
        ``mixed`` (a model of all sounds) or ``paired`` (differences over speakers' means), declared beforehand.
    where : sequence of str
        Filters such as ``"age>7"``.
    phone : str
        Sibilants compared, with commas; /s/ without it.

    Returns
    -------
    Compared
        With ``table`` (a row a measure and pair of groups), ``summary``, ``study``. Groups are described; nobody is
        diagnosed.

    Raises
    ------
    UsageError, ListError
        When a column is missing, or too few speakers or groups are left.

    Notes
    -----
    docs/study.md holds every analysis with its source.

    Examples
    --------
    Two invented groups of six speakers, four words each, 900 Hz apart.

    >>> import pandas as pd
    >>> rows = [
    ...     (f"P{speaker}", kind, f"w{word}", 6000.0 + 900 * (kind == "b") + 40 * speaker * word, 900.0)
    ...     for speaker in range(6) for kind in "ab" for word in range(4)
    ... ]
    >>> table = pd.DataFrame(rows, columns=["speaker", "kind", "prompt", "centroid_hz", "sd_hz"]).assign(
    ...     phone="S", finding="found", voice="client", counts="yes", method="house-15k/2"
    ... )
    >>> compared = compare_groups(table, "kind", measures=["centroid_hz"], primary="paired")
    >>> float(compared.table["estimate"].iloc[0])
    900.0
    """
    question = Question(by, speaker, measures=tuple(measures), primary=primary, where=tuple(where), phone=phone)
    frame = read_frame(Path(table)) if isinstance(table, str | os.PathLike) else _plain(table)
    found = study.compare(frame, question)
    rows = [study_rows.with_unit(one) for one in found.analyses]
    return Compared(as_frame(rows, study_columns.ANALYSES), tuple(study_said.said(found)), found)


def _plain(table: pd.DataFrame) -> pd.DataFrame:
    """Return a frame as a file would give it: texts for sets of words, numbers as floats."""
    plain = table.copy()
    for name in plain.columns:
        if plain[name].dtype.kind in "fi":
            plain[name] = plain[name].astype("float64")
        else:
            plain[name] = plain[name].astype(object).where(plain[name].notna(), "").astype(str)
    return plain
