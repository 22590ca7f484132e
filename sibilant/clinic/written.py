"""What was written into a report's fields, kept as a draft until it is thrown away or the client goes."""

from __future__ import annotations

import json
from collections.abc import Mapping

from .. import store
from ..errors import NoRoomError
from ..terms.vocabulary import REPORT_KINDS
from .caseload import CaseloadHandle, client_or_last, opened


def draft_of(caseload: CaseloadHandle, code: str | None, kind: str) -> dict[str, str]:
    """Return what is kept of a kind of report, by the field's label; nothing where no draft is."""
    with opened(caseload) as one:
        name = store.get_client(one, client_or_last(one, code)).code
        kept: dict[str, str] = json.loads(one.setting(store.draft_key(name, REPORT_KINDS.read(kind))) or "{}")
    return kept


def keep_draft(caseload: CaseloadHandle, code: str | None, kind: str, filled: Mapping[str, str]) -> int:
    """Keep what was written in place of what was kept before; return how many fields hold something.

    Raises
    ------
    NoRoomError
        When the caseload can't be written.
    """
    written = {label: text for label, text in filled.items() if text.strip()}
    with opened(caseload) as one:
        name = store.get_client(one, client_or_last(one, code)).code
        key, content = store.draft_key(name, REPORT_KINDS.read(kind)), json.dumps(written, ensure_ascii=False)
        store.remember(one, {key: content})
        if one.setting(key) != content:
            raise NoRoomError("the draft was not kept: the caseload can't be written; make room, or copy it")
    return len(written)
