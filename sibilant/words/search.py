"""What a search for words gives, and how a long list is searched part by part in bounded memory."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ..terms import Interval, Prompt, Utterance

Piece = tuple[float, float]

# Chosen on invented probes (docs/words.md), where no other origin is named.
LARGE, MANY_PROMPTS = 60_000, 150  # pieces times prompts, and prompts, from which on a list is read in parts
PIECES_AT_ONCE, PROMPTS_AT_ONCE = 120, 160  # pieces and prompts of one part
KEPT_SHARE = 0.6  # share of a part that is kept; the next begins there, so that each end was read with what follows


@dataclass(frozen=True, slots=True)
class WordSearch:
    """What was found for a list of prompts.

    ``utterances`` in order of time; ``missing`` are the 1-based places of prompts the client was not heard to say,
    ``doubtful`` those of them whose absence is itself not sure; ``strays`` are stretches that match no prompt
    (coughs, clicks, another person's talk).
    """

    utterances: tuple[Utterance, ...] = ()
    missing: tuple[int, ...] = ()
    strays: tuple[Interval, ...] = ()
    doubtful: tuple[int, ...] = ()


Search = Callable[[list[Piece], Sequence[Prompt], bool], WordSearch]


def in_blocks(search: Search, pieces: list[Piece], prompts: Sequence[Prompt]) -> WordSearch:
    """Search a list so long that pieces times prompts would not fit: 120 pieces at a time.

    Each block is matched with as many of the next 160 prompts as are heard in it; what comes up to a sure word near
    60 % of it is kept, and the next block begins after that word.
    """
    kept = WordSearch()
    i = j = 0
    while i < len(pieces):
        if i + PIECES_AT_ONCE >= len(pieces):
            found = search(pieces[i:], prompts[j:], False)
            return _joined(kept, found, j, upto=None, total=len(prompts))
        found = search(pieces[i : i + PIECES_AT_ONCE], prompts[j : j + PROMPTS_AT_ONCE], True)
        goal = pieces[i + int(KEPT_SHARE * PIECES_AT_ONCE)][0]
        sure = [u for u in found.utterances if u.sure and u.counts and u.interval.offset_s <= goal]
        last = sure[-1] if sure else None
        end = last.interval.offset_s if last is not None else goal
        kept = _joined(kept, found, j, upto=(end, last.prompt_index if last is not None else 0), total=0)
        i = next((k for k in range(i + 1, len(pieces)) if pieces[k][0] >= end), len(pieces))
        j += last.prompt_index if last is not None else 0
    return _joined(kept, WordSearch(), j, upto=None, total=len(prompts))


def _joined(
    kept: WordSearch, found: WordSearch, shift: int, *, upto: tuple[float, int] | None, total: int
) -> WordSearch:
    """Add what was found up to a time and a prompt of the block (all of it with ``upto`` None)."""
    end, prompt = upto if upto is not None else (float("inf"), total - shift)
    utterances = tuple(
        replace(u, prompt_index=u.prompt_index + shift)
        for u in found.utterances
        if u.interval.offset_s <= end and u.prompt_index <= prompt
    )
    heard = {u.prompt_index for u in utterances if u.voice != "other"}
    missing = tuple(k for k in range(shift + 1, shift + prompt + 1) if k not in heard)
    return WordSearch(
        kept.utterances + utterances,
        kept.missing + missing,
        kept.strays + tuple(s for s in found.strays if s.onset_s < end),
        kept.doubtful + tuple(k + shift for k in found.doubtful if k <= prompt),
    )
