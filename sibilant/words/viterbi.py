"""How well stretches fit prompts: frames scored by class, then the best path through each prompt's states."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from .adaptation import Adaptation, RecordingAdaptation
from .band_templates import CLASSES, level_template, warped
from .features import Features
from .phone_model import ANY, LEAD, N_STATE_CLASSES, SIB_S, SIB_SH, SIB_Z, SILENCE, PhoneModel

Float32s = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

# Tuned on speakers left out of the table in ``targets`` (``docs/words.md``).
BANDS_WORTH = 3.0
# Chosen on invented probes (docs/words.md), where no other origin is named.
SCALE = 0.30  # weight of a frame: neighbours are not independent
LEVEL_WORTH = 8.0  # a level counts against a class by so much at most
WORST = 8.0  # how far below the best a class can fall in a frame
QUIET_BELOW_PEAK_DB = 36.0  # silence lies so far below the loudest near by
LEAD_COST = 1.5  # a breath before a word costs so much a frame
PEAK_REACH = 60  # frames on either side in which the loudest is looked for: 0.6 s
FARTHEST_JUMP = 5  # states that a path may pass over at once
RUNS_AT_ONCE = 4000  # for memory; no result depends on it
FEW_RUNS = 512  # so few go through frames together, whatever their models' sizes; no result depends on it
FRAMES_AT_ONCE = 16384  # for memory; no result depends on it
LEAST_CHANGE, MOST_CHANGE = 0.4, 2.0  # a frame weighs by how much the sound changes, between these


@dataclass(frozen=True, slots=True, eq=False)
class Emissions:
    """Scaled log scores of each frame under each state class: (n, classes); ``best`` (n,) under the best class."""

    score: Float32s
    best: Float32s


def emissions(features: Features, scale: float, adaptation: RecordingAdaptation) -> Emissions:
    """Score each frame under each class.

    log p = -sum over bands of w (x - mu - g)^2 / (2 s^2), the gain g free, w from 0 to 1 by how far a band rises over
    the noise, the whole worth three bands at most; plus the level below the loudest part of the word. Frames count by
    how fast the sound changes about them (``change_weights``).

    Parameters
    ----------
    features : Features
        Levels and noise.
    scale : float
        The speaker's formant scale: 1 for the mean of the table, more for a shorter vocal tract.
    adaptation : Adaptation
        Microphone and voice, sound by sound; a word it was learnt from is scored without its own share.

    Returns
    -------
    Emissions
    """
    total, peak, over = loudness(features)
    below = total - peak
    n = features.n_frames
    slices = [slice(k, k + FRAMES_AT_ONCE) for k in range(0, max(1, n), FRAMES_AT_ONCE)]
    parts = [_scores(features.part(rows), (scale, adaptation.whole), below[rows], over[rows]) for rows in slices]
    score, best = np.concatenate([p.score for p in parts]), np.concatenate([p.best for p in parts])
    for first, last, adapted in adaptation.own:
        rows = slice(first, last)
        part = _scores(features.part(rows), (scale, adapted), below[rows], over[rows])
        score[rows], best[rows] = part.score, part.best
    weight = change_weights(features)
    return Emissions(score * weight[:, None], best * weight)


def change_weights(features: Features) -> Float32s:
    """Worth of each frame (n,): the root of the change in 20 ms about it over the mean change, 0.4 to 2.

    Steady frames say nearly the same thing over again; the passages between sounds are short and tell much.
    """
    out = np.ones(features.n_frames, dtype=np.float32)
    if features.n_frames < 5:
        return out
    x = np.maximum(features.level_db, features.noise_db)[:, : features.n_bands]
    change = np.zeros(features.n_frames)
    change[1:-1] = np.sqrt(((x[2:] - x[:-2]) ** 2).mean(axis=1))
    change[1:-1] = (change[:-2] + change[1:-1] + change[2:]) / 3.0
    out[:] = np.clip(np.sqrt(change / max(float(change.mean()), 1e-3)), LEAST_CHANGE, MOST_CHANGE)
    return out


def _scores(features: Features, speaker: tuple[float, Adaptation], below: Float32s, over: Float32s) -> Emissions:
    scale, adapted = speaker
    b = features.n_bands
    x, noise = features.level_db[:, :b], features.noise_db[:, :b]
    heard = np.clip((x - noise - 2.0) / 8.0, 0.02, 1.0)
    x = x - x.mean(axis=1, keepdims=True)
    shape, spread = warped(scale)
    mu = shape[:, :b] + adapted.shift_db[:, :b]
    wide = spread[:, :b] * adapted.times[:, :b]
    precision = 1.0 / wide**2
    weight = _times(heard, precision)
    first = _times(heard * x, precision) - _times(heard, mu * precision)
    second = (
        _times(heard * x * x, precision) - 2 * _times(heard * x, mu * precision) + _times(heard, mu * mu * precision)
    )
    mismatch = np.maximum(second - first**2 / weight, 0.0)
    mismatch = 0.5 * mismatch + _times(heard, np.log(wide / 7.0))
    share = np.minimum(1.0, BANDS_WORTH / heard.sum(axis=1, keepdims=True))
    return _with_states(_level_score(below) - share * mismatch, below, over)


def loudness(features: Features) -> tuple[Float32s, Float32s, Float32s]:
    """Level of each frame, the loudest within 0.6 s of it, and by how much the level stands over the noise, dB."""
    total = 10 * np.log10((10 ** (0.1 * features.level_db)).sum(axis=1))
    noise = 10 * np.log10((10 ** (0.1 * features.noise_db)).sum(axis=1))
    padded = np.pad(total, PEAK_REACH, constant_values=-140.0)
    near = np.lib.stride_tricks.sliding_window_view(padded, 2 * PEAK_REACH + 1)
    peak = np.concatenate([near[k : k + 4096].max(axis=1) for k in range(0, len(near), 4096)])
    over = (features.level_db - features.noise_db)[:, : features.n_bands].max(axis=1)
    return total.astype(np.float32), peak.astype(np.float32), np.asarray(np.maximum(over, total - noise))


def _times(left: npt.NDArray[np.floating], right: npt.NDArray[np.floating]) -> Float32s:
    """Sums over bands in fixed order: (n, b) and (k, b) to (n, k)."""
    return np.asarray(np.einsum("tb,kb->tk", left, right, dtype=np.float32), dtype=np.float32)


def _level_score(below: Float32s) -> Float32s:
    mean, spread = level_template()
    wide = np.maximum(spread, 7.0)
    return np.asarray(
        np.maximum(-0.5 * ((below[:, None] - mean) / wide) ** 2, -LEVEL_WORTH) - np.log(wide / 7.0), dtype=np.float32
    )


def _with_states(base: Float32s, below: Float32s, over: Float32s) -> Emissions:
    at = {name: k for k, name in enumerate(CLASSES)}
    out = np.empty((len(base), N_STATE_CLASSES), dtype=np.float32)
    out[:, : len(CLASSES)] = base
    quiet = -0.5 * (np.maximum(0.0, np.minimum(over - 7.0, below + QUIET_BELOW_PEAK_DB + 5.0)) / 6.0) ** 2 - 0.3
    quiet -= 0.25 * np.clip((below + QUIET_BELOW_PEAK_DB + 10.0) / 5.0, 0.0, 4.0)
    s, sh, lateral, weak = (base[:, at[name]] for name in ("S", "SH", "LAT", "F"))
    out[:, SILENCE] = quiet
    out[:, SIB_S] = np.maximum.reduce([s, sh - 1.0, lateral - 1.5, weak - 2.0])
    out[:, SIB_SH] = np.maximum.reduce([sh, s - 1.0, lateral - 1.0, weak - 2.5])
    out[:, SIB_Z] = np.maximum.reduce([base[:, at["Z"]], base[:, at["ZH"]] - 1.0, s - 0.5, sh - 1.5])
    best = np.maximum(out[:, : SILENCE + 1].max(axis=1), out[:, SIB_S])
    breath = np.maximum.reduce([quiet, base[:, at["HH"]] - 2.0, weak - 2.0, best - 6.0])
    out[:, LEAD] = breath - LEAD_COST
    out[:, ANY] = best - 0.6
    out = np.maximum(out, best[:, None] - WORST)
    return Emissions(out * np.float32(SCALE), best * np.float32(SCALE))


@dataclass(frozen=True, slots=True, eq=False)
class BestScores:
    """Scores of pairs: ``whole`` (p,) the whole prompt said, ``broken`` (p,) only its beginning; per pair.

    Both relative to the best class in every frame, so at most about 0. ``reached`` (p,) is the share of the prompt's
    phones that the best broken-off path reached.
    """

    whole: Float32s
    broken: Float32s
    reached: Float32s


def best_scores(scored: Emissions, spans: Ints, models: Sequence[PhoneModel], which: Ints) -> BestScores:
    """Best path of each pair of a span and a prompt.

    Parameters
    ----------
    scored : Emissions
        Frame scores.
    spans : (p, 2)
        First and last (exclusive) frame of each pair.
    models : sequence
        Chains of all prompts.
    which : (p,)
        The prompt of each pair.

    Returns
    -------
    Fits
    """
    n = len(which)
    worst = np.full(n, -np.inf, dtype=np.float32)
    out = BestScores(worst, worst.copy(), np.zeros(n, dtype=np.float32))
    ceiling = np.concatenate([[0.0], np.cumsum(scored.best, dtype=np.float64)])
    top = ceiling[spans[:, 1]] - ceiling[spans[:, 0]]
    for group in _groups(spans, which, np.array([len(c.states) for c in models])):
        run_of, starts = group.run_of, group.starts
        table = _tables([models[k] for k in group.prompts])
        final = _run(scored.score, table, starts, (run_of, (spans[:, 1] - spans[:, 0])[group.pairs]))
        _collect(final, _picked(table, run_of), (group.pairs, top[group.pairs], out))
    return out


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """Pairs done together: spans that start alike share one run through the prompt's states.

    ``starts`` and ``prompts`` (r,) of each run, longest first; ``pairs`` (q,) and the run of each, ``run_of`` (q,).
    """

    starts: Ints
    prompts: Ints
    pairs: Ints
    run_of: Ints


def _groups(spans: Ints, which: Ints, n_states: Ints) -> list[_Group]:
    """Split pairs into groups of like size, each with its runs."""
    if not len(which):
        return []
    key = spans[:, 0] * (which.max() + 1) + which
    _, run_of = np.unique(key, return_inverse=True)
    longest = np.zeros(run_of.max() + 1, dtype=np.int64)
    np.maximum.at(longest, run_of, spans[:, 1] - spans[:, 0])
    start, prompt = np.zeros_like(longest), np.zeros_like(longest)
    start[run_of], prompt[run_of] = spans[:, 0], which
    size = np.ceil(n_states[prompt] / 12.0).astype(np.int64) if len(longest) > FEW_RUNS else np.zeros_like(longest)
    order = np.lexsort((-longest, size))
    cuts = [0, *(np.flatnonzero(np.diff(size[order])) + 1).tolist(), len(order)]
    pairs_by_run = np.argsort(run_of, kind="stable")
    bounds = np.searchsorted(run_of[pairs_by_run], np.arange(len(longest) + 1))
    out = []
    for a, b in pairwise(cuts):
        for begin in range(a, b, RUNS_AT_ONCE):
            runs = order[begin : min(b, begin + RUNS_AT_ONCE)]
            pairs = [pairs_by_run[bounds[r] : bounds[r + 1]] for r in runs]
            own = np.repeat(np.arange(len(runs)), [p.size for p in pairs])
            out.append(_Group(start[runs], prompt[runs], np.concatenate(pairs), own))
    return out


def _run(score: Float32s, table: _Tables, starts: Ints, asked: tuple[Ints, Ints]) -> Float32s:
    """Best score of every state at the end of each pair: (q, states). ``asked``: run and length of each pair."""
    run_of, length = asked
    n, width = table.kind.shape
    lasting = np.zeros(n, dtype=np.int64)
    np.maximum.at(lasting, run_of, length)
    by_length = np.argsort(length, kind="stable")
    ends = np.searchsorted(length[by_length], np.arange(int(length.max(initial=0)) + 2))
    delta = np.full((n, width + FARTHEST_JUMP), -1e6, dtype=np.float32)
    final = np.full((len(run_of), width), -1e6, dtype=np.float32)
    flat, place, moved = score.ravel(), starts[:, None] * score.shape[1] + table.kind, np.empty_like(table.stay)
    for t in range(int(length.max(initial=0))):
        live = int(np.searchsorted(-lasting, -t, side="left"))
        best = table.entry[:live] if t == 0 else delta[:live, FARTHEST_JUMP:] + table.stay[:live]
        for jump in range(1, FARTHEST_JUMP + 1) if t else ():
            before = delta[:live, FARTHEST_JUMP - jump : FARTHEST_JUMP - jump + width]
            np.add(before, table.jump[jump - 1, :live], out=moved[:live])
            np.maximum(best, moved[:live], out=best)
        np.add(best, flat.take(place[:live]), out=delta[:live, FARTHEST_JUMP:])
        place[:live] += score.shape[1]
        done = by_length[ends[t + 1] : ends[t + 2]]
        if done.size:
            final[done] = delta[run_of[done], FARTHEST_JUMP:]
    return final


@dataclass(frozen=True, slots=True, eq=False)
class _Tables:
    kind: Ints
    stay: Float32s
    jump: Float32s
    entry: Float32s
    leave: Float32s
    phone: Ints
    last: Ints


def _picked(table: _Tables, rows: Ints) -> _Tables:
    """Rows of what ``_collect`` needs."""
    return replace(table, leave=table.leave[rows], phone=table.phone[rows], last=table.last[rows])


def _tables(models: list[PhoneModel]) -> _Tables:
    """Stack the models of a chunk into arrays padded to the widest."""
    unique = {id(c): c for c in models}
    width = max(len(c.states) for c in models)
    row_of = {key: row for row, key in enumerate(unique)}
    rows = np.array([row_of[id(c)] for c in models])
    one = [_one(c, width) for c in unique.values()]
    stacked = [np.stack([parts[k] for parts in one])[rows] for k in range(6)]
    kind, stay, jump, entry, leave, phone = stacked
    last = np.array([max(0, c.n_phones - 1) for c in models])
    return _Tables(kind, stay, jump.transpose(1, 0, 2).copy(), entry, leave, phone, last)


@lru_cache(maxsize=4096)
def _one(model: PhoneModel, width: int) -> tuple[npt.NDArray[np.generic], ...]:
    n = len(model.states)
    kind = np.zeros(width, dtype=np.int64)
    stay, entry, leave = (np.full(width, -1e6, dtype=np.float32) for _ in range(3))
    jump = np.full((FARTHEST_JUMP, width), -1e6, dtype=np.float32)
    phone = np.full(width, -2, dtype=np.int64)
    skips = np.array([s.skip for s in model.states])
    for k, state in enumerate(model.states):
        kind[k], phone[k] = state.kind, state.phone
        stay[k] = np.log(1.0 - 1.0 / max(state.frames, 1.0001))
        entry[k] = max(-1e6, -skips[:k].sum())
        leave[k] = max(-1e6, -skips[k + 1 : n].sum())
        for d in range(1, min(FARTHEST_JUMP, k) + 1):
            advance = -np.log(max(model.states[k - d].frames, 1.0))
            jump[d - 1, k] = max(-1e6, advance - skips[k - d + 1 : k].sum())
    return kind, stay, jump, entry, leave, phone


def _collect(final: Float32s, table: _Tables, into: tuple[Ints, npt.NDArray[np.float64], BestScores]) -> None:
    where, top, out = into
    whole = (final + table.leave).max(axis=1)
    early = np.where((table.phone >= 0) & (table.phone < table.last[:, None]), final, -1e6)
    at = early.argmax(axis=1)
    reached = np.take_along_axis(table.phone, at[:, None], axis=1)[:, 0]
    out.whole[where] = np.maximum(whole - top, -1e5)
    out.broken[where] = np.maximum(early.max(axis=1) - top, -1e5)
    out.reached[where] = (reached + 1) / np.maximum(table.last + 1, 1)


def best_paths(scored: Emissions, spans: Ints, models: Sequence[PhoneModel]) -> list[Ints]:
    """State of every frame along the best path of each span through its own model: one array a span."""
    if not len(spans):
        return []
    order = np.argsort(spans[:, 0] - spans[:, 1], kind="stable")
    ordered, own = spans[order], [models[k] for k in order]
    table = _tables(own)
    length = ordered[:, 1] - ordered[:, 0]
    n, width = table.kind.shape
    delta = np.full((n, width + FARTHEST_JUMP), -1e6, dtype=np.float32)
    back = np.zeros((int(length.max(initial=0)), n, width), dtype=np.int8)
    final = np.full((n, width), -1e6, dtype=np.float32)
    for t in range(len(back)):
        live = int(np.searchsorted(-length, -t, side="left"))
        seen = scored.score[(ordered[:live, 0] + t)[:, None], table.kind[:live]]
        best = table.entry[:live] if t == 0 else delta[:live, FARTHEST_JUMP:] + table.stay[:live]
        for jump in range(1, FARTHEST_JUMP + 1) if t else ():
            moved = delta[:live, FARTHEST_JUMP - jump : FARTHEST_JUMP - jump + width] + table.jump[jump - 1, :live]
            back[t, :live] = np.where(moved > best, jump, back[t, :live])
            best = np.maximum(best, moved)
        delta[:live, FARTHEST_JUMP:] = best + seen
        done = slice(int(np.searchsorted(-length, -(t + 1), side="left")), live)
        final[done] = delta[done, FARTHEST_JUMP:]
    at = (final + table.leave).argmax(axis=1)
    paths, each = np.zeros((n, len(back)), dtype=np.int64), np.arange(n)
    for t in range(len(back) - 1, -1, -1):
        live = int(np.searchsorted(-length, -t, side="left"))
        paths[:live, t] = at[:live]
        at[:live] -= back[t, each[:live], at[:live]]
    out: list[Ints] = [np.zeros(0, dtype=np.int64)] * n
    for row, place in enumerate(order):
        out[place] = paths[row, : length[row]]
    return out
