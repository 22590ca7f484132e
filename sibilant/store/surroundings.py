"""What a recording showed around each kept word, as rows and back, to the last bit of every number."""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from ..terms import Cut, NoiseSpectrum, Surroundings, TokenSupport, Verdict
from .caseload import Caseload
from .checksums import readable, say_set_aside
from .encode import dump, load
from .people import client_id
from .schema import SESSIONS, SURROUNDINGS

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

MOST_BINS = 1 << 14
"""More frequencies than any rate gives: a spectrum that holds them is none of this program."""
Around = dict[tuple[int, int], Surroundings]
"""What stood around words, by prompt and attempt."""


def surroundings_row(word: Surroundings, session: int) -> dict[str, object]:
    """Return the row of what stood around one word."""
    return {
        "session_id": session,
        "prompt_index": word.prompt_index,
        "attempt": word.attempt,
        "cut_hz": None if word.cut is None else word.cut.frequency_hz,
        "noise": "" if word.noise is None else noise_text(word.noise),
        "sounds": dump({key: _support(one) for key, one in word.support.items()}),
    }


def noise_text(noise: NoiseSpectrum) -> str:
    """Return a noise spectrum as JSON text: its values as little-endian doubles in base64, nothing rounded."""
    return dump({"dof": noise.dof, "power_density": _packed(noise.power_density), "drift": _packed(noise.drift)})


def noise_from(text: str) -> NoiseSpectrum | None:
    """Return a noise spectrum from JSON text, None from none.

    Raises
    ------
    ValueError
        When it is none.

    Examples
    --------
    >>> import numpy as np
    >>> kept = noise_from(noise_text(NoiseSpectrum(np.array([0.1, 0.3]), 300.0, np.zeros(2))))
    >>> kept is not None and kept.power_density.tolist()
    [0.1, 0.3]
    """
    if not text:
        return None
    content = load(text)
    if not isinstance(content, dict) or content.keys() != {"dof", "power_density", "drift"}:
        raise ValueError("a noise spectrum has dof, power_density and drift")
    dof = content["dof"]
    if not isinstance(dof, int | float) or isinstance(dof, bool) or not math.isfinite(dof):
        raise ValueError("degrees of freedom are a number")
    return NoiseSpectrum(_unpacked(content["power_density"]), float(dof), _unpacked(content["drift"]))


def _packed(values: npt.NDArray[np.float64]) -> str:
    return base64.b64encode(values.astype("<f8").tobytes()).decode("ascii")


def _unpacked(text: Any) -> npt.NDArray[np.float64]:
    import numpy as np

    if not isinstance(text, str) or len(text) > 11 * MOST_BINS:
        raise ValueError("numbers in base64 were expected")
    content = base64.b64decode(text, validate=True)
    if len(content) % 8 or not content:
        raise ValueError("numbers in base64 were expected, eight bytes each")
    values = np.frombuffer(content, "<f8").astype(np.float64)
    if not np.all(np.isfinite(values)):
        raise ValueError("a spectrum holds what is no number")
    return values


def _support(one: TokenSupport) -> dict[str, Any]:
    return {
        "snr_db": one.snr_db,
        "bandwidth_hz": one.bandwidth_hz,
        "clipped_share": one.clipped_share,
        "flags": list(one.flags),
        "verdict": one.verdict.as_dict(),
        "noise": one.noise is not None,
    }


def surroundings_from(row: Mapping[str, Any]) -> Surroundings:
    """Return what stood around one word from its row.

    Raises
    ------
    ValueError
        When a noise or a verdict can't be read.
    """
    noise = noise_from(row["noise"])
    return Surroundings(
        prompt_index=row["prompt_index"],
        attempt=row["attempt"],
        cut=None if row["cut_hz"] is None else Cut(row["cut_hz"]),
        support={key: _support_from(kept, noise) for key, kept in load(row["sounds"]).items()},
    )


def _support_from(kept: Mapping[str, Any], noise: NoiseSpectrum | None) -> TokenSupport:
    if kept["noise"] and noise is None:
        raise ValueError("a sound rests on a noise that is not there")
    return TokenSupport(
        snr_db=kept["snr_db"],
        bandwidth_hz=kept["bandwidth_hz"],
        clipped_share=kept["clipped_share"],
        flags=tuple(kept["flags"]),
        verdict=Verdict(**kept["verdict"]),
        noise=noise if kept["noise"] else None,
    )


def keep_surroundings(connection: sa.Connection, session: int, words: Sequence[Surroundings]) -> None:
    """Keep what stood around the words of a session."""
    if words:
        connection.execute(SURROUNDINGS.insert(), [surroundings_row(word, session) for word in words])


def read_surroundings(caseload: Caseload, code: str, *, session: int | None = None) -> dict[int, Around]:
    """Return what stood around each word of a client, by session; damaged rows are left out and named by the log.

    A word kept by an earlier program has nothing here.
    """
    aside: list[str] = []
    found: dict[int, Around] = {}
    with caseload.read() as connection:
        query = (
            sa.select(SURROUNDINGS, SESSIONS.c.number.label("session_number"))
            .join(SESSIONS, SESSIONS.c.id == SURROUNDINGS.c.session_id)
            .where(SESSIONS.c.client_id == client_id(connection, code))
            .order_by(SURROUNDINGS.c.id)
        )
        if session is not None:
            query = query.where(SESSIONS.c.number == session)
        for row in connection.execute(query).mappings():
            word = readable("surroundings", row, partial(surroundings_from, dict(row)), aside)
            if word is not None:
                found.setdefault(row["session_number"], {})[word.prompt_index, word.attempt] = word
    say_set_aside(code, aside)
    return found
