"""What other clients lend to one client's limits: renewed where something changed, kept with the verdicts it gave."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from .. import progress, store
from ..terms.clinic import Case
from ..terms.lending import Given, Lender

Lent = dict[tuple[str, int], Given]


@dataclass(frozen=True, slots=True)
class FromOthers:
    """With what each measure and session is judged, why nothing is lent where that is so, and what is asked."""

    given: Lent = field(default_factory=dict)
    reasons: tuple[str, ...] = ()
    asked: tuple[str, ...] = ()


def lent_to(caseload: store.Caseload, case: Case, asked: progress.ViewRequest) -> FromOthers:
    """Return what others lend to each measure and session, and what they make worth asking about a device.

    Only clients whose consent says so lend (``Consent.pooled``), never the client itself. A session keeps the numbers
    that its verdict was first given with, as long as the baseline that it rests on is the same.
    """
    lenders = other_lenders(caseload, case.client.code)
    others = progress.Others([one for each in lenders for one in each.spreads], store.devices(caseload))
    frame = progress.make_frame(case, asked)
    given, reasons = progress.lend(frame, others, store.day_of(caseload))
    fresh = {place: one for place, one in given.items() if place[1] and case.given.get(place) != one}
    if fresh:
        store.keep_given(caseload, case.client.code, fresh)
    return FromOthers(given, reasons, device_questions(case, lenders))


def device_questions(case: Case, lenders: Sequence[Lender]) -> tuple[str, ...]:
    """Return what to ask of devices: steps that several clients share, and that this one's sessions stand about."""
    own = progress.lender(case).probes
    used = {one.device for one in own}
    return tuple(
        step.question
        for step in progress.shared_steps([own, *(each.probes for each in lenders)])
        if step.device in used
        and any(one.on <= step.after for one in own if one.device == step.device)
        and any(one.on >= step.until for one in own if one.device == step.device)
    )


def other_lenders(caseload: store.Caseload, code: str) -> list[Lender]:
    """Return what all clients bring that lend, but one, what changed since renewed."""
    latest, kept = store.latest_changes(caseload), store.kept_lenders(caseload)
    pooled = store.clients(caseload, pooled=True)
    lending = [client.code for client in pooled if client.consent is not None and client.consent.lends]
    for gone in kept.keys() - set(lending):
        store.drop_lender(caseload, gone)
    found: list[Lender] = []
    for other in lending:
        if other == code:
            continue
        wanted = f"{progress.RULE}:{latest.get(other, 0)}"
        fingerprint, lender = kept.get(other, ("", Lender()))
        if fingerprint != wanted:
            lender = progress.lender(store.read_case(caseload, other))
            store.keep_lender(caseload, other, wanted, lender)
        found.append(lender)
    return found
