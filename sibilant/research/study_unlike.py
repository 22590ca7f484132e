"""The tokens of a study most unlike the rest of their speaker and group, with the reason: places to listen again."""

from __future__ import annotations

import math

from .. import progress
from ..study import Study
from ..tables import Column, Row
from ..terms import MEASURES

SHARE = 0.05
"""Of each speaker's tokens in a group, the farthest twentieth is listed, one at least."""
COLUMNS = (
    Column("distance", "number", "Robust SDs from the middle of this speaker's tokens in this group", "", 1),
    Column("recording", "string", "Recording the token is in"),
    Column("speaker", "string", "Speaker"),
    Column("group", "string", "Group"),
    Column("prompt", "string", "Prompt"),
    Column("onset_s", "number", "Where to listen", "s", 4),
    Column("measure", "string", "Measure in which it lies farthest off"),
    Column("value", "number", "Its value, in the measure's unit", "", 6),
    Column("middle", "number", "Median of this speaker's tokens in this group, in the measure's unit", "", 6),
    Column("n_tokens", "integer", "Tokens of this speaker in this group with a value"),
)


def unlike_rows(found: Study) -> list[Row]:
    """Return the farthest tokens of every speaker and group, the farthest of all first; none is left out for it."""
    rows: list[Row] = []
    for (speaker, group), own in found.prepared.tokens.groupby(["speaker", "group"]):
        watched = [key for key in found.prepared.measures if key in MEASURES]
        ranked = progress.most_unlike({key: own[key].tolist() for key in watched})
        for one in ranked[: math.ceil(SHARE * len(ranked))]:
            token = own.iloc[one.place]
            rows.append({
                "distance": one.distance, "recording": str(token.get("recording", "")), "speaker": str(speaker),
                "group": str(group), "prompt": str(token.get("prompt", "")), "onset_s": _number(token.get("onset_s")),
                "measure": one.measure, "value": one.value, "middle": one.middle, "n_tokens": one.n,
            })  # fmt: skip
    return sorted(rows, key=lambda row: -float(str(row["distance"])))


def _number(value: object) -> float | None:
    try:
        number = float(str(value))
    except ValueError:
        return None
    return number if math.isfinite(number) else None
