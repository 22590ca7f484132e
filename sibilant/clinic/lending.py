"""What other clients lend to one client's limits: renewed where something changed, kept with the verdicts it gave."""

from __future__ import annotations

from .. import progress, store
from ..terms.change import BaselineSpread, ClinicSpread
from ..terms.clinic import Case

Lent = dict[tuple[str, int], ClinicSpread]


def lent_to(caseload: store.Caseload, case: Case, asked: progress.ViewRequest) -> tuple[Lent, tuple[str, ...]]:
    """Return what others lend to each measure and session, and why nothing is lent where that is so.

    Only clients whose consent says so lend (``Consent.pooled``), never the client itself. A session keeps the numbers
    that its verdict was first given with.
    """
    others = others_spreads(caseload, case.client.code)
    frame = progress.make_frame(case, asked)
    kept = store.kept_lent(caseload, case.client.code)
    found, reasons = progress.lend(frame, others, kept, store.day_of(caseload))
    fresh = {place: one for place, one in found.items() if place not in kept}
    if fresh:
        store.keep_lent(caseload, case.client.code, fresh)
    return found, reasons


def others_spreads(caseload: store.Caseload, code: str) -> list[BaselineSpread]:
    """Return the spreads of all clients that lend but one, those renewed whose record changed since."""
    latest, kept = store.latest_changes(caseload), store.kept_spreads(caseload)
    found: list[BaselineSpread] = []
    for client in store.clients(caseload):
        lends = client.consent is not None and client.consent.lends
        if not lends and client.code in kept:
            store.drop_spreads(caseload, client.code)
        if not lends or client.code == code:
            continue
        fingerprint, spreads = kept.get(client.code, (-1, ()))
        if fingerprint != latest.get(client.code, 0):
            spreads = progress.baseline_spreads(store.read_case(caseload, client.code))
            store.keep_spreads(caseload, client.code, latest.get(client.code, 0), spreads)
        found += spreads
    return found
