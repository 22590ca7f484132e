"""A ``Document`` is a tuple of parts, composed once; each format only renders it.

Text that a person wrote is marked ``by_person``: rules for generated wording never bind it. Fields that only a
clinician can fill are ``Blank`` parts: they hold a label and room to write, and there is no place in which what is
written there could be kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, TypeAlias, get_args

from .vocabulary import check_words

Tone = Literal["plain", "lead", "small"]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading below the document's title: ``level`` 2 or 3; ``appendix`` where the document's body ends."""

    text: str
    level: int = 2
    appendix: bool = False

    def __post_init__(self) -> None:
        if self.level not in (2, 3):
            raise ValueError(f"a heading within a document is of level 2 or 3, not {self.level}")


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text; ``lead`` is the one sentence to read first, ``small`` a note."""

    text: str
    tone: Tone = "plain"
    by_person: bool = False

    def __post_init__(self) -> None:
        check_words(self, tone=get_args(Tone))


@dataclass(frozen=True, slots=True)
class Listing:
    """Short statements, one a line."""

    items: tuple[str, ...]
    by_person: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under a header; the first cell of each row heads it. Every row is as long as ``header``.

    ``by_person`` counts the columns from the left that a person wrote.
    """

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    by_person: int = 0

    def __post_init__(self) -> None:
        if not self.header or any(len(row) != len(self.header) for row in self.rows):
            raise ValueError(f"{self.caption}: each row needs one cell for each of {len(self.header)} columns")


@dataclass(frozen=True, slots=True)
class Facts:
    """Label and value, two columns; ``by_person`` when the values were written by a person."""

    caption: str
    rows: tuple[tuple[str, str], ...]
    by_person: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart, as the bytes of one or more formats (``svg``, ``png``); ``alt`` states its finding in a sentence."""

    name: str
    alt: str
    images: Mapping[str, bytes]
    width_mm: float = 170.0
    caption: str = ""

    def __post_init__(self) -> None:
        if not self.alt.strip():
            raise ValueError(f"{self.name}: a picture needs a sentence for those who can't see it")
        object.__setattr__(self, "images", MappingProxyType(dict(self.images)))


@dataclass(frozen=True, slots=True)
class Blank:
    """A field that only the clinician can fill: a label and ``n_lines`` empty lines (0: room on the label's line).

    ``by_hand``: it names or identifies somebody, so that it is filled on the finished paper and never on the page.
    """

    label: str
    n_lines: int = 0
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class BlankTable:
    """A table whose cells the clinician fills; the first column may be given."""

    caption: str
    header: tuple[str, ...]
    first_cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Box:
    """Lines set apart under a title, such as the methods."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PageBreak:
    """What follows starts a page."""


@dataclass(frozen=True, slots=True)
class PracticeItem:
    """One thing to say, in large print: the target's letters bold, other sibilants' letters underlined.

    ``n_ticks`` small boxes follow, for the family's own eye; nothing reads them back. ``drawing`` (SVG) stands before
    it for a child who does not read; the word beside it says what it shows.
    """

    text: str
    target: tuple[tuple[int, int], ...] = ()
    others: tuple[tuple[int, int], ...] = ()
    n_ticks: int = 5
    hint: str = ""
    drawing: bytes = b""

    def runs(self) -> tuple[tuple[str, Literal["plain", "target", "other"]], ...]:
        """Cut the text into runs of plain, target and other letters.

        Examples
        --------
        >>> PracticeItem("sock shop", ((0, 1),), ((5, 7),)).runs()
        (('s', 'target'), ('ock ', 'plain'), ('sh', 'other'), ('op', 'plain'))
        """
        kinds: list[Literal["plain", "target", "other"]] = ["plain"] * len(self.text)
        for start, stop in self.others:
            kinds[start:stop] = ["other"] * (min(stop, len(kinds)) - start)
        for start, stop in self.target:
            kinds[start:stop] = ["target"] * (min(stop, len(kinds)) - start)
        runs: list[tuple[str, Literal["plain", "target", "other"]]] = []
        for letter, kind in zip(self.text, kinds, strict=True):
            if runs and runs[-1][1] == kind:
                runs[-1] = (runs[-1][0] + letter, kind)
            else:
                runs.append((letter, kind))
        return tuple(runs)


Part: TypeAlias = (
    Heading | Paragraph | Listing | Table | Facts | Picture | Blank | BlankTable | Box | PageBreak | PracticeItem
)


@dataclass(frozen=True, slots=True)
class Document:
    """What is written, without any format: ``mark`` stands on every page where it is not empty.

    ``dense`` asks for one page where that can be; ``large_print`` for sheets read by children.
    """

    kind: str
    title: str
    parts: tuple[Part, ...] = field(default=())
    subject: str = ""
    mark: str = ""
    language: str = "en"
    large_print: bool = False
    dense: bool = False

    def __post_init__(self) -> None:
        if not self.title.strip():
            raise ValueError("a document needs a title")

    @property
    def body(self) -> tuple[Part, ...]:
        """Parts before the appendix."""
        ends = (place for place, part in enumerate(self.parts) if isinstance(part, Heading) and part.appendix)
        return self.parts[: next(ends, len(self.parts))]

    def of_kind(self, kind: type[Part]) -> tuple[Part, ...]:
        """Parts of one kind, in order."""
        return tuple(part for part in self.parts if isinstance(part, kind))
