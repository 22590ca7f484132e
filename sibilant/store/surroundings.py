"""What a recording showed around each kept word, as rows and back; spectra of noise to 16 bits."""

from __future__ import annotations

import base64
import math
import zlib
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
    """Return a noise spectrum as JSON text: power, and drift as its share, each within 2^-16 of itself.

    A word measured again with it has the recording's figures to the digit: noise is a small share of a sound's power,
    and of that the errors of hundreds of frequencies average out.
    """
    import numpy as np

    power = noise.power_density
    share = np.divide(noise.drift, power, out=np.zeros_like(power), where=power > 0)
    return dump({"dof": noise.dof, "power": _packed(power), "drift_share": _packed(share)})


def noise_from(text: str) -> NoiseSpectrum | None:
    """Return a noise spectrum from JSON text, None from none; earlier programs kept double precision.

    Raises
    ------
    ValueError
        When it is none.

    Examples
    --------
    >>> import numpy as np
    >>> kept = noise_from(noise_text(NoiseSpectrum(np.array([0.1, 0.3]), 300.0, np.zeros(2))))
    >>> kept is not None and np.allclose(kept.power_density, [0.1, 0.3], rtol=2**-16, atol=0)
    True
    """
    if not text:
        return None
    content = load(text)
    keys = content.keys() if isinstance(content, dict) else set()
    if keys not in ({"dof", "power", "drift_share"}, {"dof", "power_density", "drift"}):
        raise ValueError("a noise spectrum has dof, power and drift_share")
    dof = content["dof"]
    if not isinstance(dof, int | float) or isinstance(dof, bool) or not math.isfinite(dof):
        raise ValueError("degrees of freedom are a number")
    if "drift" in keys:
        return NoiseSpectrum(_doubles(content["power_density"]), float(dof), _doubles(content["drift"]))
    power, share = _unpacked(content["power"]), _unpacked(content["drift_share"])
    if power.size != share.size:
        raise ValueError("power and drift_share are of the same frequencies")
    return NoiseSpectrum(power, float(dof), power * share)


def _packed(values: npt.NDArray[np.float64]) -> str:
    """The upper three bytes of single precision, rounded: all lowest ones, then the middle, then the highest.

    Compressed by zlib (RFC 1950), which finds highest bytes alike, and written in base64.
    """
    planes = (values.astype("<f4").view("<u4") + 0x80).view("u1").reshape(-1, 4).T[1:]
    return base64.b64encode(zlib.compress(planes.tobytes(), 9)).decode("ascii")


def _unpacked(text: Any) -> npt.NDArray[np.float64]:
    import numpy as np

    if not isinstance(text, str):
        raise ValueError("numbers in base64 were expected")
    unzip = zlib.decompressobj()
    try:
        content = unzip.decompress(base64.b64decode(text, validate=True), 3 * MOST_BINS)
    except zlib.error as error:
        raise ValueError("numbers in base64 were expected, compressed") from error
    if not content or len(content) % 3 or not unzip.eof:
        raise ValueError("numbers in base64 were expected, three bytes each")
    planes = np.zeros((4, len(content) // 3), np.uint8)
    planes[1:] = np.frombuffer(content, np.uint8).reshape(3, -1)
    return _finite(planes.T.copy().view("<f4").ravel().astype(np.float64))


def _doubles(text: Any) -> npt.NDArray[np.float64]:
    import numpy as np

    if not isinstance(text, str) or len(text) > 11 * MOST_BINS:
        raise ValueError("numbers in base64 were expected")
    content = base64.b64decode(text, validate=True)
    if len(content) % 8 or not content:
        raise ValueError("numbers in base64 were expected, eight bytes each")
    return _finite(np.frombuffer(content, "<f8").astype(np.float64))


def _finite(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    import numpy as np

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
    with caseload.read(code) as connection:
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
