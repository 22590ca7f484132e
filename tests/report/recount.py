"""Every sentence of a report recomputed from what was observed, by code of its own.

Nothing of ``sibilant.progress``, ``sibilant.report`` or ``sibilant.charts`` is imported: counts are made from
judgements again, intervals by statsmodels, tests by scipy, wording by the patterns below. A
sentence that no pattern knows is odd.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

from scipy.stats import binomtest
from statsmodels.stats.proportion import proportion_confint

from sibilant.terms.clinic import Case, Session
from sibilant.terms.document import Box, Document, Facts, Listing, Paragraph, Table
from sibilant.terms.kept import KeptToken

MONTHS = "January February March April May June July August September October November December".split()
DAY = rf"(\d{{1,2}} (?:{'|'.join(MONTHS)}) \d{{4}})"
PERCENT = "(\\d+)\u2009%"
SCORED = ("correct", "approximation", "distorted", "substituted", "omitted")
PLAIN = {"frontal": "heard with the tongue forward", "lateral": "heard with air over the sides of the tongue"}
LEVELS = {"word": "single words", "sentence": "sentences"}
CUES = {"spontaneous": "without help", "model": "after hearing it"}
PLACES = {"initial": "At the start of words", "medial": "Inside words", "final": "At the end of words"}
LAY = ("school", "payer", "family")


def day_of(text: str) -> dt.date:
    day, month, year = text.split()
    return dt.date(int(year), MONTHS.index(month) + 1, int(day))


def percent(k: int, n: int) -> int:
    return int(f"{100 * k / n:.0f}")


def wilson(k: int, n: int) -> tuple[int, int]:
    low, high = proportion_confint(k, n, method="wilson")
    return int(f"{100 * low:.0f}"), int(f"{100 * high:.0f}")


@dataclass(frozen=True)
class Truth:
    """What was observed of one client, counted again."""

    case: Case

    @cached_property
    def sessions(self) -> list[Session]:
        return sorted(self.case.sessions, key=lambda one: (one.on, one.number))

    def tokens(self, session: Session) -> list[KeptToken]:
        """The sounds of the main figures in one session."""
        own = [t for t in self.case.tokens if t.session == session.number]
        return [t for t in own if t.sound.slot is not None and t.sound.slot.phone == "S"]

    def marked(self, session: Session) -> list[tuple[KeptToken, str]]:
        """Each sound with what one person heard in it, as far as it is scored."""
        pairs = [(t, t.judgements[-1].heard) for t in self.tokens(session) if t.judgements]
        return [(t, heard) for t, heard in pairs if heard in SCORED]

    def counted(self, session: Session) -> tuple[int, int]:
        heard = [heard for _, heard in self.marked(session)]
        return heard.count("correct"), len(heard)

    @cached_property
    def judged(self) -> list[Session]:
        return [one for one in self.sessions if self.counted(one)[1]]

    @cached_property
    def alike(self) -> list[Session]:
        """Judged probes at the level and cue of the last judged one."""
        last = self.judged[-1]
        return [one for one in self.judged if (one.level, one.cue) == (last.level, last.cue)]

    def on(self, text: str) -> Session:
        return next(one for one in self.sessions if one.on == day_of(text))

    def kinds(self, marks: list[tuple[KeptToken, str]], reader: str) -> Counter[str]:
        """Kinds of error in a reader's words, with how many of each."""
        return Counter(_kind(token, heard, reader) for token, heard in marks if heard != "correct")

    def words(self, session: Session) -> dict[str, bool]:
        return {token.prompt: heard == "correct" for token, heard in self.marked(session)}

    def gained(self, early: Session, late: Session) -> tuple[int, int, int]:
        before, after = self.words(early), self.words(late)
        same = before.keys() & after.keys()
        gained = sum(after[word] and not before[word] for word in same)
        return len(same), gained, sum(before[word] and not after[word] for word in same)

    def measured(self, session: Session) -> tuple[int, int]:
        tokens = self.tokens(session)
        usable = [t for t in tokens if t.sound.finding == "found" and t.judgements[-1].heard != "not_scorable"]
        return len(usable), len(tokens)

    def before_therapy(self) -> int:
        start = self.case.client.therapy.starts_on if self.case.client.therapy is not None else None
        return sum(start is not None and one.on < start for one in self.sessions)


def _kind(token: KeptToken, heard: str, reader: str) -> str:
    mark = token.judgements[-1]
    if heard == "omitted":
        return "left out"
    if heard == "approximation":
        return "nearly correct"
    if heard == "substituted":
        return f"another sound instead: {mark.substitute}"
    if reader in LAY:
        return PLAIN[mark.types[0]] if mark.types else "not clear"
    return f"distorted ({mark.types[0] if mark.types else 'kind not marked'})"


Check = Callable[[Truth, re.Match[str], str], bool]


def _heard_last(truth: Truth, m: re.Match[str], reader: str) -> bool:
    last, (k, n) = truth.sessions[-1], (int(m[2]), int(m[3]))
    return day_of(m[1]) == last.on and truth.counted(last) == (k, n) and percent(k, n) == int(m[4])


def _heard_lay(truth: Truth, m: re.Match[str], reader: str) -> bool:
    last, (k, n) = truth.judged[-1], (int(m[2]), int(m[3]))
    under = f"{LEVELS[last.level]}, {CUES[last.cue]}"
    whole = day_of(m[1]) == last.on and truth.counted(last) == (k, n) and m["under"] == under
    return whole and ("p" not in m.groupdict() or percent(k, n) == int(m["p"]))


def _between(truth: Truth, m: re.Match[str], reader: str) -> bool:
    k, n = truth.counted(truth.judged[-1])
    return (n, *wilson(k, n)) == (int(m[1]), int(m[2]), int(m[3]))


def _first(truth: Truth, m: re.Match[str], reader: str) -> bool:
    first = truth.alike[0]
    return day_of(m[1]) == first.on and truth.counted(first) == (int(m[2]), int(m[3])) and len(truth.alike) > 1


def _gained(truth: Truth, m: re.Match[str], reader: str) -> bool:
    early, late = truth.alike[0], truth.judged[-1]
    days = (day_of(m["early"]), day_of(m["late"])) == (early.on, late.on)
    found = truth.gained(early, late)
    if not days or found != (int(m["n"]), int(m["gained"]), int(m["lost"])):
        return False
    return "p" not in m.groupdict() or m["p"] == _p(found[1], found[2])


def _p(gained: int, lost: int) -> str:
    """The exact McNemar test is a binomial one over the words that changed."""
    p = binomtest(gained, gained + lost, 0.5).pvalue if gained + lost else 1.0
    return "p < 0.001" if p < 0.001 else f"p = {p:.3f}" if p < 0.1 else f"p = {p:.2f}"


def _listed_kinds(text: str) -> Counter[str]:
    return Counter({name: int(n) for name, n in re.findall(r"(.+?) (\d+)(?:, |$)", text)})


def _errors(truth: Truth, m: re.Match[str], reader: str) -> bool:
    last = truth.judged[-1]
    k, n = truth.counted(last)
    told = _listed_kinds(m[4])
    same = (day_of(m[1]), int(m[2]), int(m[3])) == (last.on, n - k, n)
    return same and told == truth.kinds(truth.marked(last), reader) and sum(told.values()) == n - k


def _clear(truth: Truth, m: re.Match[str], reader: str) -> bool:
    right = [word for word, is_right in truth.words(truth.judged[-1]).items() if is_right]
    more = re.search(r" and (\d+) more$", m[1])
    named = re.sub(r" and \d+ more$", "", m[1]).split(", ")
    return named == right[: len(named)] and len(right) - len(named) == int(more[1] if more else 0)


def _not_clear(truth: Truth, m: re.Match[str], reader: str) -> bool:
    return list(truth.words(truth.judged[-1]).values()).count(False) == int(m[1])


def _added(truth: Truth, m: re.Match[str], reader: str) -> bool:
    last = truth.judged[-1]
    foils = [t for t in truth.case.tokens if t.session == last.number and t.sound.slot is None]
    added = sum(any(one.heard == "added" for one in t.judgements) for t in foils)
    return (added, day_of(m[2]), len(foils)) == (int(m[1]), last.on, int(m[3]))


def _visits(truth: Truth, m: re.Match[str], reader: str) -> bool:
    visits = sorted(truth.case.visits, key=lambda one: one.on)
    kinds = Counter(one.kind for one in visits)
    minutes = sum(one.minutes or 0 for one in visits if one.kind == "attended")
    days = [day_of(text) for text in re.findall(DAY, m[0])]
    others = {kind: int(n) for n, kind in re.findall(r"(\d+) (called off by the family|not attended)", m[0])}
    told = (int(m[1]), int(m[2]), int(m["minutes"] or 0))
    ends = days == ([visits[0].on] if visits[0].on == visits[-1].on else [visits[0].on, visits[-1].on])
    return ends and told == (kinds["attended"], len(visits), minutes) and sum(others.values()) == len(visits) - told[0]


def _days(m: re.Match[str]) -> list[dt.date]:
    return [day_of(text) for text in re.findall(DAY, m[0])]


def _not_judged(truth: Truth, m: re.Match[str], reader: str) -> bool:
    return _days(m) == [one.on for one in truth.sessions if not truth.counted(one)[1]]


def _held_back(truth: Truth, m: re.Match[str], reader: str) -> bool:
    return _days(m) == [one.on for one in truth.sessions if any(not t.judgements for t in truth.tokens(one))]


def _no_device(truth: Truth, m: re.Match[str], reader: str) -> bool:
    return [int(n) for n in re.findall(r"\d+", m[1])] == [one.number for one in truth.sessions if not one.device]


def _unlike(truth: Truth, m: re.Match[str], reader: str) -> bool:
    """Each session named is under the level and cue that are said of it."""
    named = [one for one in truth.sessions if str(one.number) in re.findall(r"\d+", m[1])]
    said = dict(re.findall(r"another (level|cue) \((\w+), was \w+\)", m[2]))
    return bool(named) and all(getattr(one, what) == now for one in named for what, now in said.items())


def _measured(truth: Truth, m: re.Match[str], reader: str) -> bool:
    reasons = m[0].partition("left out:")[2].partition(" in the")[0]
    left = sum(int(n) for n in re.findall(r"[a-z] (\d+)", reasons))
    a, b = int(m[1]), int(m[2])
    return truth.measured(truth.sessions[-1]) == (a, b) and a + left == b


def _presence(truth: Truth, m: re.Match[str], reader: str) -> bool:
    ends = [truth.judged[0], truth.judged[-1]] if len(truth.judged) > 1 else truth.judged
    heard = [(sum(h != "omitted" for _, h in truth.marked(one)), truth.counted(one)[1], one.on) for one in ends]
    return [(int(a), int(b), day_of(d)) for a, b, d in re.findall(rf"(\d+) of (\d+) on {DAY}", m[0])] == heard


def _since(truth: Truth, m: re.Match[str], reader: str) -> bool:
    """The day named is that of a probe after the first three; the verdict is held to its rule elsewhere."""
    return day_of(m[1]) in [one.on for one in truth.sessions[3:]]


RULES: tuple[tuple[str, Check], ...] = (
    (rf"In the probe of {DAY}, (\d+) of (\d+) /s/ sounds were judged correct by ear \({PERCENT}\)\.", _heard_last),
    (
        rf"With (?:only )?(\d+) (?:sounds?|words?), the (?:true rate|share) may lie between {PERCENT} and {PERCENT}\.",
        _between,
    ),
    (
        rf"On {DAY}, (\d+) of (\d+) /s/ sounds were heard as correct \((?P<p>\d+)\u2009%\) \((?P<under>[^)]+)\)\.",
        _heard_lay,
    ),
    (rf"On {DAY}, (\d+) of (\d+) had a clear s \((?P<under>[^)]+)\)\.", _heard_lay),
    (rf"On {DAY} it was (\d+) of (\d+)\.", _first),
    (
        rf"Of (?P<n>\d+) words scored both on (?P<early>{DAY}) and on (?P<late>{DAY}), (?P<gained>\d+) were gained and"
        r" (?P<lost>\d+) lost \(exact McNemar test, (?P<p>p [<=] [\d.]+)\)\.",
        _gained,
    ),
    (
        rf"Of (?P<n>\d+) words heard on both (?P<early>{DAY}) and (?P<late>{DAY}), (?P<gained>\d+) became correct and"
        r" (?P<lost>\d+) no longer w(?:as|ere)\.",
        _gained,
    ),
    (rf"Not correct on {DAY}: (\d+) of (\d+) \((.*)\)\.", _errors),
    (r"Clear: (.*)\.", _clear),
    (r"In (\d+) the s was not clear yet\.", _not_clear),
    (rf"An /s/ was put where none belongs in (\d+) words? on {DAY}; (\d+) words without /s/ were asked for\.", _added),
    (rf"(\d+) of (\d+) appointments? attended(?: \((?P<minutes>\d+) minutes\))? (?:on|from) {DAY}.*\.", _visits),
    (rf"Not judged by ear: the probes? of {DAY}.*\.", _not_judged),
    (rf"Figures held back until judged: {DAY}.*\.", _held_back),
    (r"Device not stated in sessions? ([\d, ]+): which was it\? .*", _no_device),
    (r"Sessions? ([\d, ]+) not joined: (.*)", _unlike),
    (r"Last probe: measured (\d+) of (\d+) expected.*\.", _measured),
    (r"Sounds: measured (\d+) of (\d+) expected.* in the last probe; 0 of \d+ checked by a person\.", _measured),
    (r"/s/ is left out in part of the words.*", _presence),
    (
        rf"(?:Measured from the recordings: )?[Tt]he energy of /s/ sits \w+ than .* (?:since|on) {DAY}, by more than.*",
        _since,
    ),
    (rf"The probe of {DAY} has not been judged by ear yet, so no percentage is given\.",
     lambda t, m, r: day_of(m[1]) == t.sessions[-1].on and not t.counted(t.sessions[-1])[1]),
    (r"No probe has been judged by ear yet, so nothing is counted\.", lambda t, m, r: not t.judged),
    (r"(?:Baseline probes|Probes before therapy): (\d+)(?:\.|;.*)", lambda t, m, r: t.before_therapy() == int(m[1])),
    (r"No baseline: therapy was under way before .*",
     lambda t, m, r: bool(t.case.client.therapy and t.case.client.therapy.under_way)),
    (r"Phase not stated: .*", lambda t, m, r: t.case.client.therapy is None),
    (r"Hearing status unknown: .*", lambda t, m, r: not t.case.client.hearing),
)  # fmt: skip
FIXED = tuple(
    re.compile(one)
    for one in (
        r"Acoustic figures support, and do not replace, clinical judgement\.",
        r"This record does not show what caused the change\.",
        r"Counts go up and down from day to day\.",
        r"They help the clinician, who listens and decides; a low one on a tired day is nothing to worry about\.",
        r"Five to ten minutes, five days a week, in good humour \(common practice, no source\)\.",
        r"Agreement of two listeners: not checked in this period\.",
        r"No published range fits .*", r"No published range is shown\.", r"Until that is said, .*",
        r"Three or more on different days are needed to judge measurement error\.",
        r"Some probes were made under other conditions; the appendix names them\.",
        r"Method: .*", r"Recording: .*", r"Sampling rate: .*", r"Recordings judged: .*", r"Judged by ear \(Wilson .*",
        r"How the words were had .*", r"Words had .*",
    )
)  # fmt: skip
FIGURES = tuple(
    re.compile(one)
    for one in (
        r"Where the energy of the hiss sits: .*", r"The change is (?:not )?larger than .*", r"The reason: .*",
        r"Measurement error.*", r"Measured from the recordings, .*", r"Too few sounds in any one context .*",
        r"[Ss]essions? of .*", r"The change .*", r".*provisional.*", r"Baseline.*left out.*",
    )
)  # fmt: skip
"""What rests on the measurement: the verdicts of change, whose own tests recompute them."""


def sentences(document: Document) -> Iterator[str]:
    """Every generated sentence of running text."""
    texts: list[str] = []
    for part in document.parts:
        if isinstance(part, Paragraph) and not part.by_person:
            texts.append(part.text)
        elif isinstance(part, Listing) and not part.by_person:
            texts += part.items
        elif isinstance(part, Box):
            texts += part.lines
    for text in texts:
        yield from (one for one in re.split(r"(?<=[.?])\s+(?=[A-Z/])", text) if one)


def recounted(document: Document, case: Case, reader: str) -> Counter[str]:
    """How many sentences and cells were recomputed, are fixed, or rest on figures.

    Raises
    ------
    AssertionError
        For a sentence that is not what was observed, or that no pattern knows.
    """
    truth, found = Truth(case), Counter[str]()
    for sentence in sentences(document):
        found[_class_of(truth, sentence, reader)] += 1
    for part in document.parts:
        if isinstance(part, Table):
            found["recomputed"] += _table(truth, part, reader)
        elif isinstance(part, Facts) and part.caption == "Appointments":
            found["recomputed"] += _appointments(truth, part)
    return found


def _class_of(truth: Truth, sentence: str, reader: str) -> str:
    for pattern, check in RULES:
        if match := re.fullmatch(pattern, sentence):
            assert check(truth, match, reader), f"not what was observed: {sentence}"
            return "recomputed"
    if any(pattern.fullmatch(sentence) for pattern in FIXED):
        return "fixed"
    assert any(pattern.fullmatch(sentence) for pattern in FIGURES), f"nobody knows this sentence: {sentence}"
    return "figures"


def _table(truth: Truth, table: Table, reader: str) -> int:
    """Check the rows of a table that hold what was heard; return how many."""
    if table.caption == "Judged by ear, probe by probe":
        assert [_probe_row(truth, one) for one in truth.sessions] == [tuple(row) for row in table.rows]
        return len(table.rows)
    if table.caption == "How the sounds were heard":
        return sum(_heard_row(truth, row, reader) for row in table.rows)
    if table.caption.startswith("Goals"):
        return sum(_goal_row(truth, row) for row in table.rows)
    return 0


def _probe_row(truth: Truth, one: Session) -> tuple[str, ...]:
    k, n = truth.counted(one)
    day = f"{one.on.day} {MONTHS[one.on.month - 1]} {one.on.year}"
    low, high = wilson(k, n) if n else (0, 0)
    shown = (f"{k} of {n}", f"{percent(k, n)}\u2009% ({low} to {high})") if n else ("not judged", "–")
    return (day, f"{LEVELS[one.level]}, {CUES[one.cue]}", *shown)


def _heard_row(truth: Truth, row: tuple[str, ...], reader: str) -> int:
    name, counted, kinds = row
    day = re.match(DAY, name)
    session = truth.on(day[1]) if day else truth.judged[-1]
    marks = truth.marked(session)
    if not day:
        place = next(key for key, said in PLACES.items() if name in (said, key.capitalize()))
        marks = [(t, h) for t, h in marks if t.sound.slot is not None and t.sound.slot.position == place]
    right = sum(heard == "correct" for _, heard in marks)
    assert counted == f"{right} of {len(marks)}", row
    assert (_listed_kinds(kinds) if kinds != "–" else Counter()) == truth.kinds(marks, reader), row
    return 1


def _goal_row(truth: Truth, row: tuple[str, ...]) -> int:
    goal = next(one for one in truth.case.goals if row[0].startswith(one.behaviour))
    at = [one for one in truth.judged if one.level == goal.level and goal.cue in ("", one.cue)]
    point = "{0[0]} of {0[1]} on {1.day} {2} {1.year}"
    told = [point.format(truth.counted(one), one.on, MONTHS[one.on.month - 1]) for one in (at[:1] + at[-1:])]
    assert row[1:-1][: len(told)] == tuple(told[-1:] if len(row) == 3 else told) or not told, row
    last = [truth.counted(one) for one in at][-goal.n_sessions :]
    few = len(last) < goal.n_sessions or any(n < goal.n_sounds for _, n in last)
    met = "cannot be told" if few else "met" if all(k / n >= goal.share for k, n in last) else "not met"
    assert row[-1].split(" (")[0] == met, row
    return 1


def _appointments(truth: Truth, part: Facts) -> int:
    days = [day_of(day) for day, _ in part.rows]
    assert days == sorted(one.on for one in truth.case.visits)
    return len(days)
