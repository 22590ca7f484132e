"""What one client lends to others, and what the others lend to one: same measure, method, level, kind of device."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from ..terms.clinic import Case, Device
from ..terms.lending import BaselineSpread, Given, Grounds, Lender
from .change import LEAST_BASELINE, measurement_error
from .frame import ALSO, NEXT, Frame, ViewRequest, make_frame
from .shared_steps import device_probes
from .spread import fit_spread, too_few_clients

RULE = 4
"""Counted up when what a client lends is had in another way, so that what was kept is made anew."""


def lender(case: Case) -> Lender:
    """Return what a client brings: the spreads of its baseline, and its sessions by device."""
    frame = make_frame(case, ViewRequest(measures=ALSO))
    return Lender(_baseline_spreads(frame), device_probes(frame))


def _baseline_spreads(frame: Frame) -> tuple[BaselineSpread, ...]:
    """Spread of the main measure and of those always shown; a reference under treatment lends nothing.

    Nor does a baseline that no one version of a method has measured whole.
    """
    line = frame.series[0] if frame.series else None
    if line is None or line.reference != "baseline" or len(line.baseline) < LEAST_BASELINE or "/" not in frame.method:
        return ()
    found = []
    device, level, _, _ = line.conditions
    for key in frame.keys:
        probes = [(one.number, frame.summary(one, key, frame.method)) for one in line.baseline]
        error = measurement_error(key, probes)
        if error.k >= LEAST_BASELINE and error.sd > 0:
            found.append(BaselineSpread(key, frame.method, level, device, error.sd, error.k - 1))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Others:
    """All other clients that agreed: their spreads under any conditions, and the clinic's devices."""

    spreads: Sequence[BaselineSpread] = ()
    devices: Sequence[Device] = ()

    def like(self, key: str, grounds: Grounds) -> list[BaselineSpread]:
        """Those of one measure under the same method, level and kind of device."""
        kinds = {one.name: one.kind for one in self.devices}
        asked = (key, grounds.method, grounds.level, grounds.device_kind)
        return [o for o in self.spreads if (o.measure, o.method, o.level, kinds.get(o.device, "")) == asked]


def lend(frame: Frame, others: Others, on: dt.date) -> tuple[dict[tuple[str, int], Given], tuple[str, ...]]:
    """Return with what each measure's later sessions and the next one are judged, and why nothing is lent to them.

    What a verdict was given with stays, the plain rule too, as long as its grounds are the same: method, level, kind of
    device, and the probes of the baseline. A session held back until it is judged by ear has no verdict yet.

    Parameters
    ----------
    frame : Frame
        The client's own frame; its case knows with what verdicts were given.
    others : Others
        The other clients; the client's own spreads are not among them.
    on : datetime.date
        The day of a fresh fit.
    """
    line = frame.series[0] if frame.series else None
    if line is None or len(line.baseline) < LEAST_BASELINE or "/" not in frame.method:
        return {}, ()
    grounds = grounds_of(frame, others)
    found: dict[tuple[str, int], Given] = {}
    reasons = []
    for key in frame.keys:
        alike = others.like(key, grounds)
        fresh = Given(grounds, fit_spread([o.sd for o in alike], [o.df for o in alike], fitted_on=on), len(alike), on)
        if fresh.lent is None and key == frame.keys[0]:
            reasons.append(f"the plain rule gives new verdicts: {too_few_clients(len(alike))}")
        found[key, NEXT] = fresh
        for session in line.later:
            if frame.shown(session):
                before = frame.case.given.get((key, session.number))
                stands = before is not None and before.grounds in (None, grounds)
                found[key, session.number] = before if before is not None and stands else fresh
    return found, tuple(reasons)


def grounds_of(frame: Frame, others: Others) -> Grounds:
    """Return what decides which other clients are like this one, and the baseline's probes."""
    line = frame.series[0]
    device, level, _, _ = line.conditions
    kinds = {one.name: one.kind for one in (*others.devices, *frame.case.devices)}
    return Grounds(frame.method, level, kinds.get(device, ""), tuple(one.number for one in line.baseline))
