"""Whether an /s/ was there at all: what is followed where it is left out, and no spectrum can be."""

from __future__ import annotations

from collections.abc import Sequence

from ..terms.by_ear import Presence
from ..terms.kept import KeptToken
from .accuracy import SCORED, counts, judgement_by
from .session import expected

LEFT_OUT_SHARE = 0.2
"""From this share left out on a measure can't have its 80 % of sounds (own choice, after the rule of change)."""
_HEARD = frozenset({"found", "no_frication"})


def presence(tokens: Sequence[KeptToken], session: int, rater: str, *, shown: bool) -> Presence:
    """Return in how many of the words an /s/ was heard, and in how many frication was found.

    By ear: of those scored, all but the omitted. By sound: of the words said by the client, those with frication
    bounded where the /s/ is expected; left out until the words are judged (``shown`` false).
    """
    places = [token for token in expected(tokens) if counts(token)]
    judged = [one for token in places if (one := judgement_by(token, rater)) is not None and one.heard in SCORED]
    said = [token for token in places if token.sound.finding in _HEARD] if shown else []
    found = sum(token.sound.finding == "found" for token in said)
    return Presence(session, sum(one.heard != "omitted" for one in judged), len(judged), found, len(said))


def followed_by_presence(found: Sequence[Presence]) -> tuple[Presence, ...]:
    """Return presence by session where it is the measure: in some session a fifth or more was left out; else none."""
    return tuple(found) if any(one.share_left_out >= LEFT_OUT_SHARE for one in found) else ()
