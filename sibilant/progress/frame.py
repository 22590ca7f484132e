"""What every part of a view needs: sessions in order, the method, the rater, the series, and which words count."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from ..terms import MEASURES
from ..terms.clinic import Case, Session
from ..terms.kept import KeptToken
from ..terms.lending import ClinicSpread
from ..terms.summaries import MeasureSummary
from .accuracy import main_rater
from .following import Following, following
from .phases import with_phases
from .series import Series, series_of
from .session import expected, is_main_s, summarise

Words = Literal["untreated", "treated", "all"]
Lent = Mapping[tuple[str, int], ClinicSpread]
"""What other clients lend, by measure and session of the main line: a verdict keeps the numbers it was given with."""
NEXT = 0
"""In place of a session's number: the next one, which has no verdict yet."""
DAYS_A_MONTH = 30.4375  # 365.25 / 12
ALSO = ("centroid_hz", "sd_hz", "core_duration_ms")


@dataclass(frozen=True, slots=True)
class ViewRequest:
    """What is wanted of a case: measures beside the main one, words, whose ear, the day, what others lend and ask."""

    measures: tuple[str, ...] = ()
    words: Words = "untreated"
    rater: str = ""
    today: dt.date | None = None
    lent: Lent = field(default_factory=dict)
    not_lent: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Frame:
    """What every part needs: the case, its sessions in order, the methods, the rater, the keys, the series."""

    case: Case
    sessions: tuple[Session, ...]
    following: Following
    rater: str
    keys: tuple[str, ...]
    series: tuple[Series, ...]
    words: Words
    lent: Lent = field(default_factory=dict)

    @property
    def method(self) -> str:
        """Label of the method that the main line is followed under."""
        return self.following.method

    def under(self, session: Session, key: str) -> str:
        """Return the label under which a session's figures of a measure are taken; lengths hang on no method."""
        if key not in MEASURES or MEASURES[key].spectral:
            return self.following.of(session)
        have = {label for token in self.case.tokens_of(session.number) for label in token.measurements}
        return self.method if not have or self.method in have else max(have)

    def tokens(self, session: Session) -> list[KeptToken]:
        """Tokens of one session at its own level and cue."""
        return [
            token
            for token in self.case.tokens_of(session.number)
            if token.level in {"", session.level} and token.cue in {"", session.cue}
        ]

    def summary(self, session: Session, key: str, method: str) -> MeasureSummary:
        """Return one measure of /s/ in the wanted words of a session, under a method."""
        tokens = [token for token in self.wanted(self.tokens(session), session) if is_main_s(token)]
        return summarise(tokens, key, method, rater=self.rater)

    def wanted(self, tokens: Sequence[KeptToken], session: Session) -> list[KeptToken]:
        """The untreated words (or treated ones, or all)."""
        if self.words == "all":
            return list(tokens)
        return [token for token in tokens if self.treated(token, session) == (self.words == "treated")]

    def treated(self, token: KeptToken, session: Session) -> bool:
        """Whether the word was on a practice sheet by that day, or the list says that it is treated."""
        since = self.case.client.treated.get(token.prompt.casefold())
        return bool(token.treated) or (since is not None and since <= session.on)

    def shown(self, session: Session) -> bool:
        """Whether figures may be shown: the ear comes first, unless that is switched off."""
        if not self.case.ear_first:
            return True
        to_judge = [token for token in expected(self.case.tokens_of(session.number)) if is_main_s(token)]
        return all(token.judgements or not _to_be_heard(token) for token in to_judge)


def followed(case: Case) -> Following:
    """Return the methods that a client, read whole, is followed under."""
    sessions = _in_order(case)
    return following(case, sessions, series_of(sessions))


def _in_order(case: Case) -> tuple[Session, ...]:
    return with_phases(case.client.therapy, sorted(case.sessions, key=lambda session: (session.on, session.number)))


def make_frame(case: Case, asked: ViewRequest) -> Frame:
    """Return the frame of a case."""
    sessions = _in_order(case)
    series = series_of(sessions)
    main = case.client.main_measure
    keys = tuple(dict.fromkeys([main, *(asked.measures or (key for key in ALSO if key in MEASURES))]))
    rater = asked.rater or main_rater(case.tokens)
    return Frame(case, sessions, following(case, sessions, series), rater, keys, series, asked.words, asked.lent)


def _to_be_heard(token: KeptToken) -> bool:
    """Whether there is an attempt that may be the client's, to be judged by ear."""
    return token.sound.may_count
