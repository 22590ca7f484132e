"""The method that a client is followed under, fixed with the baseline; what a narrower session is compared under."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from ..terms import Method
from ..terms.clinic import Case, Session
from .alike import numbered
from .series import Series, first_baseline

SPECTRAL = frozenset({"centroid_hz", "sd_hz", "peak_hz"})
NOT_CHOSEN = "house-15k"
"""The method of a client for whom nobody chose one: then the widest that the baseline holds."""
Labels = Mapping[int, Mapping[str, Method]]
"""By session, the methods that it holds, by label."""
LEAST_SHARE = 0.5
"""A session holds a method under which at least so many of its sounds have a spectral figure, of those that can."""


@dataclass(frozen=True, slots=True)
class Following:
    """``method`` is the main line's, by label; ``under`` that of each session; ``why`` says where a session's differs.

    ``fixed`` holds the method of each line (by place among the series); ``sentence`` says where the main line's is not
    the one chosen.
    """

    method: str
    under: Mapping[int, str] = field(default_factory=dict)
    why: Mapping[int, str] = field(default_factory=dict)
    fixed: tuple[str, ...] = ()
    sentence: str = ""

    def of(self, session: Session | int) -> str:
        """Return the method of one session, or of the session of a number."""
        return self.under.get(session if isinstance(session, int) else session.number, self.method)


def following(case: Case, sessions: Sequence[Session], series: Sequence[Series]) -> Following:
    """Return the method of a client and of each session.

    The main line is followed under the method chosen for the client, where all probes of its baseline hold it, else
    under the newest version and widest band that they hold. A session that doesn't hold the method of its line is
    measured under the widest that it and the baseline share; it narrows no other. A line with a baseline of its own
    has a method of its own.
    """
    labels = held(case)
    main, sentence = _fixed(case, labels, _reference(sessions, series))
    fixed = tuple(
        _widest(_shared(labels, line.baseline)) or main if line.baseline and not line.main else main for line in series
    )
    under: dict[int, str] = {}
    why: dict[int, str] = {}
    for line, own in zip(series, fixed, strict=True):
        base = _shared(labels, line.baseline if line.baseline and not line.main else _reference(sessions, series))
        for session in line.sessions:
            under[session.number], words = _under(labels[session.number], own, base, session)
            if words:
                why[session.number] = words
    return Following(main, under, why, fixed, sentence)


def held(case: Case) -> Labels:
    """Return by session the methods that its sounds have spectral figures under."""
    found: dict[int, dict[str, list[Method]]] = defaultdict(lambda: defaultdict(list))
    for token in case.tokens:
        for label, one in token.measurements.items():
            if SPECTRAL & (one.measures.values.keys() | one.measures.uncut):
                found[token.session][label].append(one.method)
    return defaultdict(dict, {number: _held(each) for number, each in found.items()})


def _held(each: Mapping[str, Sequence[Method]]) -> dict[str, Method]:
    most = max(map(len, each.values()))
    return {label: methods[0] for label, methods in each.items() if len(methods) >= LEAST_SHARE * most}


def _reference(sessions: Sequence[Session], series: Sequence[Series]) -> Sequence[Session]:
    """The main line's baseline; without one the first session that it would begin with."""
    line = next((one for one in series if one.main), None)
    first = first_baseline(sessions)
    return line.baseline if line is not None and line.baseline else [first] if first is not None else []


def _shared(labels: Labels, sessions: Sequence[Session]) -> dict[str, Method]:
    """Methods that all sessions hold, those aside that hold none at all."""
    each = [labels[one.number] for one in sessions if labels.get(one.number)]
    return {label: method for label, method in each[0].items() if all(label in one for one in each)} if each else {}


def _widest(methods: Mapping[str, Method]) -> str:
    """The newest version, and of that the widest band; empty of none."""
    return max(methods, key=lambda label: (methods[label].version, methods[label].band_hz[1], label), default="")


def _fixed(case: Case, labels: Labels, reference: Sequence[Session]) -> tuple[str, str]:
    """The main line's method, and a sentence where it is not the one chosen."""
    shared = _shared(labels, reference)
    chosen = case.client.method
    if not shared:
        return _held_by_most({one.number: labels[one.number] for one in reference if labels.get(one.number)}, chosen)
    named = _widest({label: method for label, method in shared.items() if chosen in (method.name, method.label)})
    by_hand = chosen != NOT_CHOSEN or any(one.method for one in case.choices)
    if named and by_hand:
        return named, ""
    widest = _widest(shared)
    if not by_hand:
        narrower = named != widest and shared[widest].name != chosen
        return widest, f"followed under {widest}: the baseline holds no more" if narrower else ""
    return widest, f"followed under {widest}: the baseline doesn't hold {chosen}, which was chosen"


def _held_by_most(labels: Labels, chosen: str) -> tuple[str, str]:
    """The method that most sessions hold, where all hold none in common: versions are never mixed."""
    counted = Counter(label for each in labels.values() for label in each)
    if not counted:
        return chosen, ""
    most = max(counted.values())
    label = _widest({key: each[key] for each in labels.values() for key in each if counted[key] == most})
    without = [number for number, each in sorted(labels.items()) if label not in each]
    return label, f"{numbered(without)} without figures under {label}: versions of a method are never mixed"


def _under(own: Mapping[str, Method], line: str, base: Mapping[str, Method], session: Session) -> tuple[str, str]:
    """One session's method, and why it is not its line's."""
    if line in own or not own:
        return line, ""
    common = {label: method for label, method in own.items() if label in base}
    day = f"{session.on.day} {session.on:%B}"
    if not common:
        return line, (
            f"the probe of {day} was measured under {_widest(own)}, the baseline under {line}: sibilant session again"
            " measures kept sound again; without it a new baseline is needed"
        )
    widest = _widest(common)
    low, high = common[widest].band_hz
    return widest, f"from {low / 1000:g} to {high / 1000:g} kHz, because the probe of {day} holds no more"
