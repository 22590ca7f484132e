"""What may not leave in free text: names, paths, calendar dates; each is found with its place."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import PurePath

from ..errors import QuestionError

MONTHS = "January|February|March|April|May|June|July|August|September|October|November|December"
SHORT_MONTHS = "Jan|Feb|Mar|Apr|Jun|Jul|Aug|Sep|Sept|Oct|Nov|Dec"
DATES = (
    r"\b\d{4}-\d{1,2}-\d{1,2}\b",
    r"\b\d{1,2}[./-]\d{1,2}[./-](?:\d{4}|\d{2})\b",
    rf"\b(?:\d{{1,2}}(?:st|nd|rd|th)?\.? (?:of )?)?(?:{MONTHS})\b(?: \d{{1,2}}(?:st|nd|rd|th)?\b)?(?:,? \d{{4}})?",
    rf"\b(?:\d{{1,2}}\.? )(?:{SHORT_MONTHS})\b\.?|\b(?:{SHORT_MONTHS})\b\.? \d{{1,4}}",
    r"\b(?:19|20)\d{2}\b",
)
PATHS = (
    r"\b[A-Za-z]:[\\/]",
    r"\\\\\w",
    r"(?:^|[\s\"'(])/(?=[\w./-]*[\w.-]{3})(?:[\w.-]+/)+[\w.-]+",
    r"~/\w+",
    r"\b\w+://\S+",
    r"\b[\w.+-]+@[\w-]+\.\w+",
    r"\b[\w-]+\.(?:wav|flac|mp3|m4a|ogg|opus|aiff?|webm|mp4|docx?|pdf|xlsx?|csv|txt|jpe?g|png)\b",
)
ORDINARY = frozenset(
    """
    a about added adult after again age all also an and another any as asked at baseline because before began
    better between both braces bridge by came can carrier child clinic clip cold condenser could cough cover day
    desk did do does dry each ear earlier easily end english every fair family father felt first five flu foam
    for form found four from front good grammar group had half has have he headset hearing held her his home
    hour how ill illness in incisor incisors initial is it its kept last later laptop left lesson letter level
    list listened little long lost loud lower medial microphone missing mood more morning mother much music near
    new next no noise none nose not note now of off old on once one only other our out over own paper parent
    passed phone phrase picture placement played practice probe quiet quite ran read recorded recorder referred
    reported rest room said same saw school score screening second seen sentence session set she short shy sick
    six slow small so some spoke spoken still stopped sun table taken talk tall teacher ten term test that the
    their then there they third this three throat tired to today told too tooth teeth tried two under until
    untreated unknown up upper used usual very visit was way we week weeks well went were when while whole with
    word words worked yes yesterday year years young
    """.split()  # noqa: SIM905 - a list of words is read more easily as text
)
LANGUAGES = (
    "English", "Scottish", "Irish", "Welsh", "American", "Canadian", "Australian", "Spanish", "French", "German",
    "Polish", "Arabic", "Urdu", "Hindi", "Mandarin", "Cantonese", "Turkish", "Portuguese", "Italian", "Dutch",
    "Russian", "Ukrainian", "Punjabi", "Bengali", "Somali", "Invented",
)  # fmt: skip
SHORTHAND = re.compile(r"[A-Z]{1,4}\d{0,3}|[A-Z]\d+|I|I'\w+|C-\w{4}")


@dataclass(frozen=True, slots=True)
class Suspect:
    """Something in free text that may tell who, where or when: what it looks like, the words, and the place."""

    kind: str
    words: str
    place: str


def suspects(
    texts: Iterable[tuple[str, str]], *, names: Iterable[str] = (), allowed: Iterable[str] = ()
) -> list[Suspect]:
    """Return what looks like a name, path or calendar date in (place, text) pairs.

    A name is a word that begins with a capital and is neither shorthand (R1, ENT) nor an ordinary word that may begin a
    sentence; and any of ``names``, however written. A name in small letters that is not among ``names`` is not found.

    Examples
    --------
    >>> found = suspects([("session 2, note", "came with Anna on 3 March")])
    >>> [(one.kind, one.words) for one in found]
    [('calendar date', '3 March'), ('name', 'Anna')]
    """
    asked = [name.strip() for name in names if name.strip()]
    free = {word.casefold() for word in allowed}
    found = []
    for place, text in texts:
        for kind, patterns in (("path", PATHS), ("calendar date", DATES)):
            for pattern in patterns:
                for match in re.finditer(pattern, text):
                    if match[0].strip().casefold() not in free:
                        found.append(Suspect(kind, match[0].strip(), place))
        found += [
            Suspect("name", name, place) for name in asked if re.search(rf"\b{re.escape(name)}\b", text, re.IGNORECASE)
        ]
        dated = " ".join(one.words for one in found if one.place == place)
        found += [Suspect("name", word, place) for word in _capitalised(text, free) if word not in dated]
    return list(dict.fromkeys(found))


def ask_about_names(texts: Iterable[tuple[str, str]], *, no_name: bool = False) -> None:
    """Ask about what looks like a name in what is about to be kept, by the check that an export makes.

    ``no_name``: a person has said that it is none.

    Raises
    ------
    QuestionError
        When there is one; nothing was kept.

    Examples
    --------
    >>> ask_about_names([("note", "a cold; ENT seen")])
    >>> ask_about_names([("note", "Anna was tired")])
    Traceback (most recent call last):
    sibilant.errors.QuestionError: note: 'Anna' looks like a name, and names stay elsewhere; write it otherwise...
    """
    found = [one for one in suspects(texts, allowed=LANGUAGES) if one.kind == "name"]
    if found and not no_name:
        first = found[0]
        raise QuestionError(
            f"{first.place}: '{first.words}' looks like a name, and names stay elsewhere; write it otherwise, nothing"
            " was kept",
            ("no_name",),
            "If it is none, --no-name keeps it",
        )


def file_words(name: str) -> str:
    """The words of a file's name, as a check for names reads them.

    Examples
    --------
    >>> file_words("lists/Anna_words.csv")
    'Anna words'
    """
    return re.sub(r"[-_.]+", " ", PurePath(name).stem)


def _capitalised(text: str, free: set[str]) -> list[str]:
    words = re.findall(r"[^\W\d_][\w'’-]*", text)
    return [
        word
        for word in words
        if word[0].isupper()
        and not SHORTHAND.fullmatch(word)
        and word.casefold() not in free
        and word.casefold().rstrip("s") not in ORDINARY
        and word.casefold() not in ORDINARY
    ]


def free_texts(
    rows: Mapping[str, list[dict[str, object]]], columns: Mapping[str, tuple[str, ...]]
) -> list[tuple[str, str]]:
    """Return (place, text) of the free-text columns of tables, such as ``("sessions row 2, note", "...")``."""
    return [
        (f"{table} row {number}, {column}", str(row[column]))
        for table, named in columns.items()
        for number, row in enumerate(rows.get(table, []), start=1)
        for column in named
        if row.get(column)
    ]
