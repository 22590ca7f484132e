"""The tokens that a study rests on, and what was left out, counted by reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from ..errors import ListError, UsageError
from ..terms import MEASURES
from .question import DEFAULT_MEASURES, Question

if TYPE_CHECKING:
    import pandas as pd

Design = Literal["between", "within"]
LEAST_SPEAKERS = 3
LEAST_SHARE = 0.5
"""A measure asked by default is taken up where at least this share of the tokens has it (own rule)."""


@dataclass(frozen=True)
class Prepared:
    """Tokens with columns ``speaker``, ``group``, ``word``, ``context`` and the measures, ready to compare.

    ``design``: ``between`` where each speaker belongs to one group, ``within`` where speakers have several. ``others``:
    the same speakers' tokens of other phones. ``left_out``: rows not used, by reason; ``missing``: tokens without a
    value, by measure.
    """

    tokens: pd.DataFrame
    others: pd.DataFrame
    groups: tuple[str, ...]
    measures: tuple[str, ...]
    design: Design
    method: str
    left_out: Mapping[str, int]
    missing: Mapping[str, int]

    @property
    def n_tokens(self) -> int:
        """Tokens compared."""
        return len(self.tokens)

    @property
    def n_speakers(self) -> int:
        """Speakers compared."""
        return int(self.tokens["speaker"].nunique())

    def speaker_means(self, measure: str) -> pd.DataFrame:
        """Mean of a measure by speaker (rows) and group (columns); NaN where a speaker has none."""
        table = self.tokens.pivot_table(index="speaker", columns="group", values=measure, aggfunc="mean", observed=True)
        return table.reindex(columns=list(self.groups))

    def pairs(self, reference: str = "") -> tuple[tuple[str, str], ...]:
        """Pairs of groups that are compared: all, or each with the reference."""
        if reference:
            return tuple((reference, group) for group in self.groups if group != reference)
        return tuple((a, b) for i, a in enumerate(self.groups) for b in self.groups[i + 1 :])


def prepare(frame: pd.DataFrame, question: Question) -> Prepared:
    """Choose the tokens of a study from a table, every row left out counted by its reason.

    Parameters
    ----------
    frame : DataFrame
        Rows of a table of tokens, columns as in TABLE.csv and those carried through.
    question : Question
        What is asked.

    Raises
    ------
    UsageError
        When a column is not in the table, or the reference is none of the groups.
    ListError
        When fewer than two groups, or fewer than three speakers in one, are left.
    """
    frame = _with_numbers(frame.reset_index(drop=True), question)
    _check_columns(frame, question)
    reasons = _reasons(frame, question)
    method = _method(frame, question)
    if "method" in frame:
        reasons = reasons.where((reasons != "") | (frame["method"].isin(["", method])), "another method")
    of_phone = _of_phone(frame, question)
    kept = _renamed(frame[(reasons == "") & of_phone], question)
    others = _renamed(frame[(reasons == "") & ~of_phone], question)
    reasons = reasons.where((reasons != "") | of_phone, "another phone")
    measures = _measures(kept, question)
    groups = tuple(sorted(kept["group"].unique()))
    _check_groups(kept, groups, question)
    several = kept.groupby("speaker")["group"].nunique().gt(1).any()
    counts = reasons[reasons != ""].value_counts()
    return Prepared(
        kept,
        others,
        groups,
        measures,
        "within" if several else "between",
        method,
        {str(reason): int(n) for reason, n in sorted(counts.items())},
        {measure: int(kept[measure].isna().sum()) for measure in measures},
    )


def _with_numbers(frame: pd.DataFrame, question: Question) -> pd.DataFrame:
    """Read a measure of the student's own, carried through as text, as numbers where all its cells are."""
    import pandas as pd

    found = frame
    for name in question.measures:
        if name in frame and frame[name].dtype.kind not in "fi":
            cells = frame[name].astype(str).str.strip()
            numbers = pd.to_numeric(cells, errors="coerce")
            if numbers.notna().any() and (numbers.notna() | cells.isin(["", "nan"])).all():
                found = found.assign(**{name: numbers.astype(float)})
    return found


def _check_columns(frame: pd.DataFrame, question: Question) -> None:
    asked = [question.by, question.speaker, *question.measures, *([question.context] if question.context else [])]
    for column in asked:
        if column not in frame:
            some = ", ".join(
                str(name) for name in frame.columns if not str(name).endswith(("_low", "_high", "_boundary"))
            )
            raise UsageError(f"{column}: no such column in the table; it has {some}")
    wrong = [name for name in question.measures if name not in MEASURES and frame[name].dtype.kind not in "fi"]
    if wrong:
        raise UsageError(f"{wrong[0]}: not a column of numbers, so not a measure; sibilant study needs measures")


def _reasons(frame: pd.DataFrame, question: Question) -> pd.Series:
    """Why each row is left out, empty where it is used; the first reason counts."""
    import pandas as pd

    reasons = pd.Series("", index=frame.index, dtype=object)

    def note(rows: pd.Series, reason: str) -> None:
        reasons[rows & (reasons == "")] = reason

    if "finding" in frame:
        marked = frame["label"].astype(bool) if "label" in frame else pd.Series(False, index=frame.index)
        for finding in sorted(set(frame["finding"]) - {"found"}):
            note(
                (frame["finding"] == finding) & ~(marked & (finding == "extra")),
                str(finding or "no finding").replace("_", " "),
            )
    if "counts" in frame:
        note(frame["counts"] == "no", "another attempt counts")
    if "voice" in frame:
        note(frame["voice"].isin(["other", "unsure"]), "another voice, or unsure")
    note(frame[question.by].astype(str).isin(["", "nan"]), f"no {question.by}")
    note(frame[question.speaker].astype(str).isin(["", "nan"]), f"no {question.speaker}")
    return reasons


def _method(frame: pd.DataFrame, question: Question) -> str:
    """The one method whose rows are compared."""
    named = sorted({name for name in frame.get("method", []) if name})
    if question.method:
        fitting = [name for name in named if question.method in (name, name.split("/")[0])]
        if not fitting:
            raise UsageError(f"--method {question.method}: the table has {', '.join(named) or 'none named'}")
        return str(fitting[0])
    if len(named) > 1:
        raise UsageError(f"the table holds several methods ({', '.join(named)}); choose one with --method")
    return str(named[0]) if named else ""


def _of_phone(frame: pd.DataFrame, question: Question) -> pd.Series:
    import pandas as pd

    if "phone" not in frame or not question.phone or not frame["phone"].astype(bool).any():
        return pd.Series(True, index=frame.index)
    return frame["phone"] == question.phone.upper()


def _renamed(frame: pd.DataFrame, question: Question) -> pd.DataFrame:
    """Own names for what is compared, beside the table's columns."""
    kept = frame.copy()
    word, context = (
        frame[name].astype(str) if name and name in frame else "" for name in (question.word, question.context)
    )
    return kept.assign(
        group=frame[question.by].astype(str), speaker=frame[question.speaker].astype(str), word=word, context=context
    )


def _measures(kept: pd.DataFrame, question: Question) -> tuple[str, ...]:
    if question.measures:
        empty = [name for name in question.measures if not kept[name].notna().any()]
        if empty:
            raise UsageError(f"{empty[0]}: no token that can be compared has a value; leave it out")
        return tuple(dict.fromkeys(question.measures))
    found = tuple(name for name in DEFAULT_MEASURES if name in kept and kept[name].notna().mean() >= LEAST_SHARE)
    if not found:
        raise ListError("the table holds none of the usual measures for half its tokens; name some with --measures")
    return found


def _check_groups(kept: pd.DataFrame, groups: tuple[str, ...], question: Question) -> None:
    if len(groups) < 2:
        raise ListError(f"{question.by}: {len(groups)} groups are left, two or more are compared; look at the column")
    if question.reference and question.reference not in groups:
        raise UsageError(f"--reference {question.reference}: none of the groups {', '.join(groups)}")
    for group, n in kept.groupby("group")["speaker"].nunique().items():
        if n < LEAST_SPEAKERS:
            raise ListError(f"{question.by} {group}: {n} speakers, at least {LEAST_SPEAKERS} in each group are needed")
