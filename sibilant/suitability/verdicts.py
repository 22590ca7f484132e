"""From signs to verdicts: of each sound, and of the recording as that of its worst quarter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..levels.ranks import median
from ..terms.suitability import ASPECTS, Aspect, Sign, Suitability, TokenSupport, Verdict, worse_of
from ..terms.vocabulary import SUPPORTS, Support
from .evidence import Evidence
from .methods_served import house_tops_hz, serves, widest_served
from .rules import Rule

# Own choice, tried as the signs were (docs/signs.md), where no other origin is named.
MOST_REMEDIES = 2  # more advice at once is not followed (common practice, no source)
MOVING_FLOOR = frozenset({"gating", "dead_floor", "pumping", "gain_riding", "voice_processing"})
"""Signs of a floor that is gated or rides with the gain: its pauses tell nothing of the noise under a sound."""
FLAG_NAMES = {"clipping": "clipped"}


def assessed(evidence: Evidence, rules: Sequence[Rule]) -> Suitability:
    """Read every rule, and put the signs together."""
    read = [(rule, sign) for rule in rules for reading in rule.read(evidence) if (sign := rule.sign(reading))]
    common = [sign for _, sign in read if not sign.tokens]
    own: list[list[tuple[Rule, Sign]]] = [[] for _ in evidence.sounds]
    for rule, sign in read:
        for index in sign.tokens:
            own[index].append((rule, sign))
    moving = any(sign.sign in MOVING_FLOOR and sign.severity != "note" for sign in common)
    signs = [[sign for _, sign in found] for found in own]
    verdicts = _verdicts(evidence.reach_hz, common, signs)
    tokens = tuple(
        _token(evidence, index, signs[index], verdict, moving=moving) for index, verdict in enumerate(verdicts)
    )
    known = evidence.snr_db[~np.isnan(evidence.snr_db)]
    return Suitability(
        findings=_gathered(read),
        verdict=_of_recording(_verdict(evidence.reach_hz, common), [token.verdict for token in tokens]),
        effective_bandwidth_hz=evidence.bandwidth_hz,
        snr_4_10khz_db=median(known) if known.size else None,
        clipped_share=evidence.extremes.n_clipped / evidence.recording.samples.size,
        tokens=tokens,
        widest_method=widest_served(evidence.reach_hz) if evidence.sounds else "",
        remedies=_remedies(read, len(evidence.sounds)),
        cut=evidence.cut,
    )


def _verdicts(reach_hz: float, common: Sequence[Sign], own: Sequence[Sequence[Sign]]) -> list[Verdict]:
    """Verdict of each sound, of its own signs and those in common; sounds with the same signs share one."""
    keys = [tuple((sign.sign, sign.severity) for sign in signs) for signs in own]
    known = {key: _verdict(reach_hz, [*common, *signs]) for key, signs in dict(zip(keys, own, strict=True)).items()}
    return [known[key] for key in keys]


def _token(evidence: Evidence, index: int, own: Sequence[Sign], verdict: Verdict, *, moving: bool) -> TokenSupport:
    ratio = float(evidence.snr_db[index])
    noise = None if moving else evidence.noise[index]
    if noise is None:
        verdict = replace(verdict, comparison=worse_of(verdict.comparison, "with care"))
    return TokenSupport(
        snr_db=None if np.isnan(ratio) else ratio,
        bandwidth_hz=evidence.bandwidth_hz,
        clipped_share=evidence.clipped_shares[index],
        flags=tuple(dict.fromkeys(FLAG_NAMES.get(sign.sign, sign.sign) for sign in own if sign.severity != "note")),
        verdict=verdict,
        noise=noise,
    )


def _verdict(reach_hz: float, signs: Sequence[Sign]) -> Verdict:
    """Worst of the signs for each aspect; a house method whose top the recording does not reach is not usable."""
    held: dict[Aspect, Support] = {
        aspect: worse_of(*(_support(sign) for sign in signs if aspect in sign.spoils)) for aspect in ASPECTS
    }
    moments: dict[str, Support] = {}
    for name, top in house_tops_hz().items():
        fits = serves(reach_hz, top)
        moments[name] = held["moments"] if fits else "not usable"
    return Verdict(held["durations"], held["levels"], held["comparison"], moments)


def _support(sign: Sign) -> Support:
    return "usable" if sign.severity == "note" else sign.severity


def _of_recording(common: Verdict, tokens: Sequence[Verdict]) -> Verdict:
    return Verdict(
        worse_of(common.durations, _worst_quarter([token.durations for token in tokens])),
        worse_of(common.levels, _worst_quarter([token.levels for token in tokens])),
        worse_of(common.comparison, _worst_quarter([token.comparison for token in tokens])),
        {
            name: worse_of(support, _worst_quarter([token.moments[name] for token in tokens]))
            for name, support in common.moments.items()
        },
    )


def _worst_quarter(supports: Sequence[Support]) -> Support:
    """The best support within the worst quarter (rounded up); ``usable`` of none.

    Examples
    --------
    >>> _worst_quarter(["usable"] * 19 + ["not usable"])
    'usable'
    >>> _worst_quarter(["usable"] * 3 + ["not usable"])
    'not usable'
    """
    if not supports:
        return "usable"
    ordered = sorted(supports, key=SUPPORTS.index, reverse=True)
    return ordered[-(-len(ordered) // 4) - 1]


def _gathered(read: Sequence[tuple[Rule, Sign]]) -> tuple[Sign, ...]:
    """One finding for each rule and severity: the signs of several sounds become one with the worst value."""
    groups: dict[tuple[str, str], list[tuple[Rule, Sign]]] = {}
    for rule, sign in read:
        groups.setdefault((rule.key, sign.severity), []).append((rule, sign))
    return tuple(_merged(members) for members in groups.values())


def _merged(members: Sequence[tuple[Rule, Sign]]) -> Sign:
    rule, first = members[0]
    if len(members) == 1:
        return first
    signs = [sign for _, sign in members]
    worst = (min if rule.below else max)(signs, key=lambda sign: sign.value if sign.value is not None else 0.0)
    return replace(worst, tokens=tuple(sorted({token for sign in signs for token in sign.tokens})))


def _remedies(read: Sequence[tuple[Rule, Sign]], n_sounds: int) -> tuple[str, ...]:
    """Advice of the one or two signs that cost most: by severity, share of the sounds touched, and weight."""
    touched: dict[str, set[int]] = {}
    for rule, sign in read:
        touched.setdefault(rule.key, set()).update(sign.tokens)

    def cost(item: tuple[Rule, Sign]) -> tuple[float, int]:
        rule, sign = item
        share = len(touched[rule.key]) / n_sounds if sign.tokens else 1.0
        return (SUPPORTS.index(_support(sign)) * (1.0 if share >= 0.25 else share), rule.weight)

    telling = sorted((item for item in read if item[1].severity != "note"), key=cost, reverse=True)
    return tuple(dict.fromkeys(sign.advice for _, sign in telling))[:MOST_REMEDIES]
