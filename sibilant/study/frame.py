"""The tokens that a study rests on, and what was left out, counted by reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from ..errors import ListError, UsageError
from ..terms import MEASURES
from . import where
from .covariates import is_empty
from .question import DEFAULT_MEASURES, Question

if TYPE_CHECKING:
    import pandas as pd

Design = Literal["between", "within", "mixed"]
NOT_HEARD = ("no_frication", "unsure", "prompt_missing", "unreadable")
"""Findings of sounds that were expected and could not be measured; what they would have been is not known."""
LEAST_SPEAKERS = 3  # speakers a group below which nothing is compared; own choice
LEAST_SHARE = 0.5
"""A measure asked by default is taken up where at least this share of the tokens has it (own rule)."""


@dataclass(frozen=True)
class Prepared:
    """Tokens with columns ``speaker``, ``group``, ``word``, covariates and the measures, ready to compare.

    ``design``: ``between`` where each speaker belongs to one group, ``within`` where each has all of them, ``mixed``
    where some have several and others not all. ``others``: the same speakers' tokens of other phones. ``absent``: rows
    of sounds that were expected and not heard or not sure, with ``speaker``, ``group`` and ``finding``. ``left_out``:
    rows not used, by reason; ``missing``: tokens without a value, by measure.
    """

    tokens: pd.DataFrame
    others: pd.DataFrame
    groups: tuple[str, ...]
    measures: tuple[str, ...]
    design: Design
    method: str
    left_out: Mapping[str, int]
    missing: Mapping[str, int]
    absent: pd.DataFrame

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
        means: pd.DataFrame = self._by_speaker(measure).mean().unstack()
        return means.reindex(columns=list(self.groups))

    def speaker_counts(self, measure: str) -> pd.DataFrame:
        """Tokens with a value by speaker (rows) and group (columns)."""
        counts: pd.DataFrame = self._by_speaker(measure).count().unstack(fill_value=0)
        return counts.reindex(columns=list(self.groups), fill_value=0)

    def _by_speaker(self, measure: str) -> Any:
        there = self.tokens[self.tokens[measure].notna()]
        return there[measure].groupby([there["speaker"], there["group"]])

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
    _check_reader(frame[reasons == ""])
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
    counts = reasons[reasons != ""].value_counts()
    return Prepared(
        kept,
        others,
        groups,
        measures,
        _design(kept, len(groups)),
        method,
        {str(reason): int(n) for reason, n in sorted(counts.items())},
        {measure: int(kept[measure].isna().sum()) for measure in measures},
        _absent(frame, of_phone, method, groups, question),
    )


def _design(kept: pd.DataFrame, n_groups: int) -> Design:
    several = kept.groupby("speaker")["group"].nunique()
    if several.max() == 1:
        return "between"
    return "within" if several.min() == n_groups else "mixed"


def _absent(
    frame: pd.DataFrame, of_phone: pd.Series, method: str, groups: tuple[str, ...], question: Question
) -> pd.DataFrame:
    """Sounds that were expected of these groups and not measured, each once whatever the methods."""
    import pandas as pd

    if "finding" not in frame:
        return pd.DataFrame({"speaker": [], "group": [], "finding": []})
    rows = frame["finding"].isin(NOT_HEARD) & frame[question.by].astype(str).isin(groups)
    rows &= ~is_empty(frame[question.speaker])
    if "phone" in frame:
        rows &= of_phone | is_empty(frame["phone"])
    if "method" in frame:
        rows &= frame["method"].isin(["", method])
    for told in question.where:
        rows &= where.kept(frame, told)
    if "counts" in frame:
        rows &= frame["counts"] != "no"
    if "voice" in frame:
        rows &= ~frame["voice"].isin(["other"])
    own = frame[rows]
    columns = {"speaker": own[question.speaker].astype(str), "group": own[question.by].astype(str)}
    return pd.DataFrame({**columns, "finding": own["finding"].astype(str)}).reset_index(drop=True)


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
    asked = [question.by, question.speaker, *question.measures, *question.beside]
    asked += [question.word] if question.word else []
    for column in asked:
        if column not in frame:
            some = ", ".join(
                str(name) for name in frame.columns if not str(name).endswith(("_low", "_high", "_boundary"))
            )
            raise UsageError(f"{column}: no such column in the table; it has {some}")
    hidden = [name for name in question.beside if name in ("speaker", "group", "word")]
    if hidden:
        raise UsageError(f"{hidden[0]}: a study needs this name for itself; give the column of the covariate another")
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
    for column in (question.by, question.speaker, *question.beside):
        note(is_empty(frame[column]), f"no {column}")
    for told in question.where:
        note(~where.kept(frame, told), f"not {told}")
    return reasons


def _check_reader(frame: pd.DataFrame) -> None:
    """Refuse rows whose words were matched to sound by more than one set of rules."""
    named = sorted({str(name) for name in frame.get("reader", []) if name and not isinstance(name, float)})
    if len(named) > 1:
        raise UsageError(
            f"the table mixes readers of words and sound ({', '.join(named)}); measure all recordings with one, or keep"
            f" one with --where reader={named[0]}"
        )


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

    if "phone" not in frame or not question.phones or not frame["phone"].astype(bool).any():
        return pd.Series(True, index=frame.index)
    return frame["phone"].isin(question.phones)


def word_column(frame: pd.DataFrame, question: Question) -> str:
    """Return the column of the words: the one asked, else ``word`` where it holds any, else ``prompt``."""
    if question.word:
        return question.word
    return next((name for name in ("word", "prompt") if name in frame and not is_empty(frame[name]).all()), "")


def _renamed(frame: pd.DataFrame, question: Question) -> pd.DataFrame:
    """Own names for what is compared, beside the table's columns."""
    name = word_column(frame, question)
    word = frame[name].astype(str) if name else ""
    kept = frame.copy()
    return kept.assign(group=frame[question.by].astype(str), speaker=frame[question.speaker].astype(str), word=word)


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
