"""What one client's baseline lends to others, and what the others lend to one: same measure, method, level, device."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from ..terms.change import BaselineSpread, ClinicSpread
from ..terms.clinic import Case
from .change import LEAST_BASELINE, measurement_error
from .frame import ALSO, Frame, ViewRequest, make_frame
from .session import is_main_s, summarise
from .spread import fit_spread, too_few_clients


def baseline_spreads(case: Case) -> tuple[BaselineSpread, ...]:
    """Return the spread of a client's own baseline, of the main measure and those always shown; empty without one.

    A reference under treatment lends nothing.
    """
    frame = make_frame(case, ViewRequest(measures=ALSO))
    line = frame.series[0] if frame.series else None
    if line is None or line.reference != "baseline" or len(line.baseline) < LEAST_BASELINE:
        return ()
    found = []
    for key in frame.keys:
        probes = []
        for session in line.baseline:
            tokens = [token for token in frame.wanted(frame.tokens(session), session) if is_main_s(token)]
            probes.append((session.number, summarise(tokens, key, frame.method)))
        error = measurement_error(key, probes)
        if error.k >= LEAST_BASELINE and error.sd > 0:
            found.append(BaselineSpread(key, *_conditions(frame), error.sd, error.k - 1))
    return tuple(found)


def _conditions(frame: Frame) -> tuple[str, str, str]:
    device, level, _, _ = frame.series[0].conditions
    kinds = {one.name: one.kind for one in frame.case.devices}
    return frame.method, level, kinds.get(device, "")


def lend(
    frame: Frame, others: Sequence[BaselineSpread], kept: Mapping[tuple[str, int], ClinicSpread], on: dt.date
) -> tuple[dict[tuple[str, int], ClinicSpread], tuple[str, ...]]:
    """Return what others lend to each measure and later session, and why nothing is lent where nothing is.

    Parameters
    ----------
    frame : Frame
        The client's own frame.
    others : sequence of BaselineSpread
        Of all other clients that agreed, under any conditions; the client's own are not among them.
    kept : mapping
        What verdicts were already given with: it stays.
    on : datetime.date
        The day of a fresh fit.
    """
    line = frame.series[0] if frame.series else None
    if line is None or not line.baseline:
        return {}, ()
    found, reasons = {}, []
    for key in frame.keys:
        alike = [o for o in others if (o.measure, o.method, o.level, o.device_kind) == (key, *_conditions(frame))]
        fresh = fit_spread([one.sd for one in alike], [one.df for one in alike], fitted_on=on)
        if fresh is None and key == frame.keys[0]:
            reasons.append(f"the plain rule gives the verdicts: {too_few_clients(len(alike))}")
        for session in line.later:
            given = kept.get((key, session.number)) or fresh
            if given is not None:
                found[key, session.number] = given
    return found, tuple(reasons)
