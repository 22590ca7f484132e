"""Whether a caseload is whole: every row against its checksum, every sound against its hash, and the key's file."""

from __future__ import annotations

from typing import Literal

from .. import store
from .caseload import CaseloadHandle, opened
from .receipts import Whole

Finding = Literal["damaged", "missing", "changed", "plain", "unreadable", "left over"]
FINDINGS: tuple[Finding, ...] = ("damaged", "missing", "changed", "plain", "unreadable", "left over")
WAY_OUT = "what is damaged, missing or changed is left out of every figure and named there; a backup puts it right"


def check(caseload: CaseloadHandle) -> Whole:
    """Compare every row and every kept sound with what was noted when it was kept; nothing is changed.

    Returns
    -------
    dict
        How many rows and sounds were looked at; what is ``damaged`` (rows, the key's file), ``missing``, ``changed`` or
        ``unreadable`` (sounds), ``plain`` (sound in an encrypted caseload that is not), ``left over`` (files that no
        row names); and ``whole``, true where nothing is damaged, missing, changed, plain or unreadable.

    Raises
    ------
    CaseloadError
        When there is none, or its database can't be opened at all.
    """
    with opened(caseload) as one:
        rows = store.look_at_rows(one)
        sounds = store.look_at_sounds(one)
        key = store.look_at_key(one)
    found = {**sounds.found, "damaged": [*key, *rows.damaged]}
    return {
        "caseload": one.folder.name,
        "encrypted": one.encrypted,
        "rows": rows.n_rows,
        "sounds": sounds.n_sounds,
        "damaged": found["damaged"],
        "missing": found.get("missing", []),
        "changed": found.get("changed", []),
        "plain": found.get("plain", []),
        "unreadable": found.get("unreadable", []),
        "left over": found.get("left over", []),
        "whole": not any(found.get(kind) for kind in FINDINGS if kind != "left over"),
    }


def lines(done: Whole) -> list[str]:
    """Return the answer of :func:`check` as lines to read."""
    said = "whole" if done["whole"] else "not whole"
    head = f"caseload {done['caseload']}: {said}; {done['rows']} rows and {done['sounds']} sounds looked at"
    told = [f"  {kind}: {one}" for kind in FINDINGS for one in done[kind]]
    return [head, *told, *([] if done["whole"] else [WAY_OUT])]
