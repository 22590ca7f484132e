"""What a page can't show is said in its place: no sign vanishes, none breaks a document."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from typing import Any

from ..terms.document import Document

CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def without_control(document: Document) -> Document:
    r"""Return a document whose control characters, which no page can hold, are named in their place.

    Examples
    --------
    >>> without_control(Document("note", "a\x01b", ())).title
    'a[sign U+0001]b'
    """
    cleaned: Document = _each_text(document, lambda text: CONTROL.sub(_named, text.replace("\ufeff", "")))
    return cleaned


def _named(found: re.Match[str]) -> str:
    return f"[sign U+{ord(found[0]):04X}]"


def without(document: Document, signs: frozenset[int]) -> Document:
    """Return a document where each run of these signs is replaced by words that say how many can't be shown."""
    if not signs:
        return document
    inside = "".join(re.escape(chr(sign)) for sign in sorted(signs))
    run = re.compile(f"[{inside}]+(?:[ \u200d\ufe0f]+[{inside}]+)*")
    told: Document = _each_text(document, lambda text: run.sub(_counted, text))
    return told


def _counted(found: re.Match[str]) -> str:
    n = sum(not sign.isspace() for sign in found[0])
    return f"[{n} {'sign' if n == 1 else 'signs'} that this page has no font for]"


def all_text(document: Document) -> str:
    """Return every text of a document, one after the other."""
    kept: list[str] = []

    def keep(text: str) -> str:
        kept.append(text)
        return text

    _each_text(document, keep)
    return "\n".join(kept)


def _each_text(value: Any, change: Callable[[str], str]) -> Any:
    """Return a noun with every text in it changed; pictures' bytes and what is no text stay."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, tuple):
        return tuple(_each_text(one, change) for one in value)
    if is_dataclass(value) and not isinstance(value, type):
        old = {field.name: getattr(value, field.name) for field in fields(value) if field.init}
        new = {name: _each_text(one, change) for name, one in old.items()}
        return replace(value, **{name: one for name, one in new.items() if one != old[name]})
    return value
