"""Build ``reference_audio``: known-answer sounds, invented probes, real adults' clips, and their registry.

    python docs/build_reference_audio.py                    # the synthetic sounds, and the registry
    python docs/build_reference_audio.py --packages FOLDER  # the real clips too, from packages unpacked in FOLDER

The real clips are copied byte for byte. FOLDER holds ``gcin-voice`` and ``ktuberling-data`` (unpacked with
``dpkg -x``) and ``festvox-czech-machac`` (the unpacked source package).
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import io
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

from sibilant.synthetic import (
    INVENTED,
    Hump,
    ProbePlan,
    Ridge,
    SayPlan,
    ShapeMoments,
    SibilantShape,
    Spoken,
    child_speaker,
    in_room,
    known_spectrum,
    probe,
    say,
    shape_of,
    shaped_noise,
    sustained,
    woman,
)
from sibilant.terms import Prompt, Word

HERE = Path(__file__).parent.parent / "reference_audio"
RATE = 44100
BAND = (1000.0, 15000.0)
OWN = "GPL-3.0-or-later"
CREDIT = f"made by sibilant.synthetic. {INVENTED}"
REGISTRY = (
    "file", "sha256", "kind", "about", "sampling_rate_hz", "n_channels", "duration_s", "seed", "text", "phones",
    "onset_s", "offset_s", "band_low_hz", "band_high_hz", "centroid_hz", "sd_hz", "skewness", "excess_kurtosis",
    "peak_hz", "drift_hz_per_s", "snr_db", "t60_s", "licence", "credit",
)  # fmt: skip
SIBILANTS = (
    "file", "prompt_index", "attempt", "text", "stretch", "phone", "slot", "kind", "onset_s", "offset_s",
    "core_onset_s", "core_offset_s", "onset_beside", "offset_beside", "level_db", "centroid_hz", "basis",
    "onset_2_s", "offset_2_s", "label_s",
)  # fmt: skip


@dataclass(frozen=True)
class Made:
    """One synthetic sound before it is written: samples, registry cells, and one row per sibilant."""

    samples: npt.NDArray[np.float64]
    cells: dict[str, object]
    sibilants: list[dict[str, object]] = field(default_factory=list)


def moments_cells(moments: ShapeMoments) -> dict[str, object]:
    """Registry cells of exact moments over ``BAND``."""
    return {
        "band_low_hz": BAND[0], "band_high_hz": BAND[1], "centroid_hz": round(moments.centroid_hz, 3),
        "sd_hz": round(moments.sd_hz, 3), "skewness": round(moments.skewness, 6),
        "excess_kurtosis": round(moments.excess_kurtosis, 6), "peak_hz": round(moments.peak_hz, 1),
    }  # fmt: skip


def held(power: Callable[..., object], moments: ShapeMoments, seed: int, about: str) -> Made:
    """1.2 s of steady noise between quarter-second silences, with 5 ms ramps."""
    n, lead = round(1.2 * RATE), RATE // 4
    noise = 0.06 * shaped_noise(power, n, RATE, seed)  # type: ignore[arg-type]
    ramp = np.minimum(1.0, np.minimum(np.arange(n), np.arange(n)[::-1]) / (0.005 * RATE))
    samples = np.concatenate([np.zeros(lead), noise * ramp, np.zeros(lead)])
    times = {"onset_s": lead / RATE, "offset_s": (lead + n) / RATE}
    return Made(samples, {"about": about, "seed": seed, **times, **moments_cells(moments)})


def flat_band() -> Made:
    """Flat band 4 to 8 kHz: mean 6000, SD 4000/sqrt(12), skewness 0, excess kurtosis -1.2."""
    known = known_spectrum("flat_band", 4000.0, 8000.0)
    return held(known.power, known.moments(BAND), 101, "flat band 4-8 kHz")


def hump() -> Made:
    """Gaussian hump at 6 kHz, SD 500 Hz."""
    known = known_spectrum("hump", 4000.0, 8000.0)
    return held(known.power, known.moments(BAND), 102, "Gaussian hump at 6 kHz, SD 500 Hz")


def two_humps() -> Made:
    """Two equal humps at 4.5 and 7.5 kHz."""
    known = known_spectrum("two_humps", 4500.0, 7500.0)
    return held(known.power, known.moments(BAND), 103, "two equal humps at 4.5 and 7.5 kHz, SD 250 Hz each")


def skewed() -> Made:
    """Invented /s/ shape with a long low skirt: negative skewness."""
    shape = SibilantShape((Hump(8200.0, 900.0), Hump(6200.0, 1500.0, -4.0)), -24.0)
    return held(shape.power, shape.moments(BAND), 104, "skewed /s/-like shape with a skirt")


def of_word(spoken: Spoken, about: str, seed: int, phones: str = "") -> Made:
    """Registry cells and sibilant rows of one spoken word or probe."""
    rows = []
    for stretch in spoken.truth.stretches:
        for s in stretch.sibilants:
            rows.append({
                "prompt_index": stretch.prompt_index, "attempt": stretch.attempt, "text": stretch.text,
                "stretch": stretch.kind, "phone": s.phone, "slot": s.slot_index, "kind": s.kind,
                "onset_s": round(s.onset_s, 5), "offset_s": round(s.offset_s, 5),
                "core_onset_s": round(s.core.onset_s, 5), "core_offset_s": round(s.core.offset_s, 5),
                "onset_beside": s.onset_beside, "offset_beside": s.offset_beside, "level_db": round(s.level_db, 2),
                "centroid_hz": round(s.shape.moments(BAND).centroid_hz, 1), "basis": "exact",
            })  # fmt: skip
    cells = {
        "about": about, "seed": seed, "phones": phones, "snr_db": spoken.truth.snr_db, "t60_s": spoken.truth.t60_s,
        "text": " ".join(s.text for s in spoken.truth.stretches if s.text),
    }  # fmt: skip
    if len(rows) == 1:
        shape = spoken.truth.sibilants[0].shape
        cells |= {"onset_s": rows[0]["onset_s"], "offset_s": rows[0]["offset_s"], **moments_cells(shape.moments(BAND))}
    return Made(spoken.samples.astype(np.float64), cells, rows)


def whistled() -> Made:
    """One whistled /s/ whose ridge, 180 Hz wide, glides."""
    ridge = Ridge(6700.0, 180.0, 900.0, 9.0)
    speaker = replace(woman(21), types={"gliding": replace(shape_of("typical", 0.9), ridge=ridge)})
    spoken = say("S IY1", speaker, 105, sibilant_type="gliding", durations={"S": 0.24})
    return of_word(in_room(spoken, speaker, 105, snr_db=45.0), "whistled /s/: ridge 180 Hz wide, gliding", 105, "S IY1")


def level_rise() -> Made:
    """An /s/ 10 dB below its vowel, exactly; its rise is the envelope's."""
    spoken = say("S AA1", woman(22), 106, sibilant_level_db=-10.0, durations={"S": 0.2})
    return of_word(in_room(spoken, woman(22), 106, snr_db=45.0), "/s/ 10 dB below its vowel", 106, "S AA1")


def voiced() -> Made:
    """A fully voiced /z/ between vowels."""
    spoken = say("AH0 Z AA1", woman(23), 107, durations={"Z": 0.14})
    return of_word(in_room(spoken, woman(23), 107, snr_db=45.0), "voiced /z/ between vowels", 107, "AH0 Z AA1")


def sinking() -> Made:
    """A weak frontal /s/ between vowels, 20 dB below them."""
    speaker = child_speaker(24)
    spoken = say("IY1 S IY0", speaker, 108, sibilant_type="frontal", sibilant_level_db=-20.0)
    return of_word(
        in_room(spoken, speaker, 108, snr_db=40.0), "weak frontal /s/, 20 dB below its vowels", 108, "IY1 S IY0"
    )


def held_s() -> Made:
    """Sustained /s/: 5.00 s, its spectrum moving by 60 Hz each second."""
    shape = SibilantShape((Hump(7400.0, 800.0),), floor_db=-60.0)
    take = sustained(shape, 5.0, 109, drift_hz_per_s=60.0)
    cells = {
        "about": "sustained /s/, 5.00 s, drifting by 60 Hz/s (moments are those of the middle)", "seed": 109,
        "onset_s": take.onset_s, "offset_s": take.offset_s, "drift_hz_per_s": 60.0,
        **moments_cells(shape.moments(BAND)),
    }  # fmt: skip
    return Made(take.samples.astype(np.float64), cells)


def broken_s() -> Made:
    """Sustained /s/ of 2.5 s with one break of 200 ms."""
    shape = SibilantShape((Hump(7000.0, 800.0),), floor_db=-60.0)
    take = sustained(shape, 2.5, 110, gaps_s=((1.2, 1.4),))
    ((start, end),) = take.gaps_s
    cells = {
        "about": f"sustained /s/, 2.5 s, silent from {start:.3f} to {end:.3f} s", "seed": 110, "onset_s": take.onset_s,
        "offset_s": take.offset_s, "drift_hz_per_s": 0.0, **moments_cells(shape.moments(BAND)),
    }  # fmt: skip
    return Made(take.samples.astype(np.float64), cells)


WORDS = {
    "seal": "S IY1 L", "castle": "K AE1 S AH0 L", "goose": "G UW1 S", "star": "S T AA1 R", "sun": "S AH1 N",
    "shoe": "SH UW1", "snow": "S N OW1", "ice": "AY1 S",
}  # fmt: skip


def prompts(*names: str) -> tuple[Prompt, ...]:
    """Prompts of the words named."""
    return tuple(Prompt(name, (Word(name, tuple(WORDS[name].split())),)) for name in names)


def probe_plain() -> Made:
    """Six words by an invented child in a quiet room."""
    said = prompts("seal", "castle", "goose", "star", "snow", "shoe")
    spoken = probe(said, child_speaker(31), 111, plan=ProbePlan(pause_s=(0.4, 0.6), snr_db=40.0, room_t60_s=0.2))
    return of_word(spoken, "invented probe, quiet: seal castle goose star snow shoe", 111)


def probe_busy() -> Made:
    """Lateral /s/ with a repeat, a false start, noises, a remark, a word left out, in a live room."""
    said = prompts("sun", "castle", "ice", "star", "seal")
    plan = ProbePlan(
        repeats=1,
        false_starts=1,
        noises=2,
        second_voice=1,
        missing=(4,),
        pause_s=(0.4, 0.6),
        snr_db=28.0,
        room_t60_s=0.4,
    )
    spoken = probe(said, child_speaker(32), 112, plan=plan, says=SayPlan(("lateral",)))
    return of_word(spoken, "invented probe, busy: sun castle ice star seal; star never said", 112)


def probe_modelled() -> Made:
    """Three words, each after another voice's model."""
    said = prompts("seal", "goose", "snow")
    plan = ProbePlan(modelled=True, pause_s=(0.4, 0.6), snr_db=34.0, room_t60_s=0.3)
    spoken = probe(said, child_speaker(33), 113, plan=plan, says=SayPlan(("frontal",)))
    return of_word(spoken, "invented probe, each word after a model: seal goose snow", 113)


RECIPES: dict[str, Callable[[], Made]] = {
    "flat-band": flat_band, "hump": hump, "two-humps": two_humps, "skewed": skewed, "whistled": whistled,
    "level": level_rise, "voiced": voiced, "weak": sinking, "sustained-5s": held_s, "sustained-break": broken_s,
    "probe-quiet": probe_plain, "probe-busy": probe_busy, "probe-modelled": probe_modelled,
}  # fmt: skip


@dataclass(frozen=True)
class Clip:
    """One real adult's clip: where it lies in its package, its rights, and what two people marked by eye."""

    file: str
    path: str
    text: str
    phones: str
    phone: str
    marks: tuple[float, float]
    marks_2: tuple[float, float]
    licence: str
    credit: str
    label_s: float | None = None


_OGG = "gcin-voice/usr/share/gcin-voice/ogg"
_KTU = "ktuberling-data/usr/share/ktuberling/sounds/en"
_CZ = "festvox-czech-machac/wav"
_CC = ("CC BY 3.0", "ChionMeilin recording team, voice Chu Lo; Debian package gcin-voice 0~20170223-3")
_KDE = ("GPL-2.0-or-later", "KTuberling authors and KDE team; Debian package ktuberling-data 4:22.12.3-1")
_BRA = (
    "GPL-3.0-or-later",
    "Brailcom o.p.s., P. Machac and R. Skarnitzl; Debian source package festvox-czech-machac 1.0.0-5",
)
CLIPS = (
    Clip("gcin-san.ogg", f"{_OGG}/ㄙㄢ/5.ogg", "san", "S AA1 N", "s", (0.021, 0.170), (0.021, 0.171), *_CC),
    Clip("gcin-su.ogg", f"{_OGG}/ㄙㄨ/5.ogg", "su", "S UW1", "s", (0.017, 0.184), (0.018, 0.186), *_CC),
    Clip("gcin-shan.ogg", f"{_OGG}/ㄕㄢ/5.ogg", "shan", "SH AA1 N", "ʂ", (0.018, 0.148), (0.019, 0.148), *_CC),
    Clip("gcin-xian.ogg", f"{_OGG}/ㄒㄧㄢ/5.ogg", "xian", "SH Y EH1 N", "ɕ", (0.018, 0.236), (0.018, 0.236), *_CC),
    Clip("ktuberling-stick.ogg", f"{_KTU}/stick.ogg", "stick", "S T IH1 K", "s", (0.068, 0.271), (0.066, 0.270), *_KDE),
    Clip("ktuberling-shoe.ogg", f"{_KTU}/shoe.ogg", "shoe", "SH UW1", "ʃ", (0.012, 0.213), (0.018, 0.206), *_KDE),
    Clip("ktuberling-grass.ogg", f"{_KTU}/egypt_grass.ogg", "grass", "G R AE1 S", "s",
         (0.328, 0.634), (0.320, 0.640), *_KDE),
    Clip("ktuberling-sign.ogg", f"{_KTU}/moon_sign.ogg", "sign", "S AY1 N", "s", (0.006, 0.237), (0.010, 0.238), *_KDE),
    Clip("machac-0117.wav", f"{_CZ}/machac0117.wav", "carries s-i", "", "s",
         (0.326, 0.484), (0.325, 0.485), *_BRA, 0.488935518),
    Clip("machac-0119.wav", f"{_CZ}/machac0119.wav", "carries s-a", "", "s",
         (0.353, 0.532), (0.352, 0.531), *_BRA, 0.54806583),
    Clip("machac-0327.wav", f"{_CZ}/machac0327.wav", "carries i-s", "", "s",
         (0.537, 0.716), (0.536, 0.718), *_BRA, 0.526252918),
    Clip("machac-0391.wav", f"{_CZ}/machac0391.wav", "carries a-s", "", "s",
         (0.732, 0.905), (0.732, 0.905), *_BRA, 0.739),
)  # fmt: skip


def pcm(samples: npt.NDArray[np.float64]) -> npt.NDArray[np.int16]:
    """16-bit samples, rounded to the nearest step."""
    return np.round(np.clip(samples, -1, 1) * 32767).astype(np.int16)


def digest(content: bytes) -> str:
    """SHA-256 of bytes."""
    return hashlib.sha256(content).hexdigest()


def main() -> None:
    """Write the sounds and the two tables."""
    parser = argparse.ArgumentParser(description="Rebuild the reference sounds and their registry.")
    parser.add_argument("--packages", type=Path, help="folder with the unpacked Debian packages")
    packages = parser.parse_args().packages
    registry: list[dict[str, object]] = []
    sibilants: list[dict[str, object]] = []
    for name, recipe in RECIPES.items():
        made = recipe()
        kind = "invented_probe" if name.startswith("probe") else "known_answer"
        encoded = io.BytesIO()
        soundfile.write(encoded, pcm(made.samples), RATE, format="FLAC", subtype="PCM_16")
        (HERE / f"{name}.flac").write_bytes(encoded.getvalue())
        registry.append({
            "file": f"{name}.flac", "sha256": digest(encoded.getvalue()), "kind": kind, "sampling_rate_hz": RATE,
            "n_channels": 1, "duration_s": round(made.samples.size / RATE, 4), "licence": OWN, "credit": CREDIT,
            **made.cells,
        })  # fmt: skip
        sibilants += [{"file": f"{name}.flac", **row} for row in made.sibilants]
    for clip in CLIPS:
        if packages is not None:
            shutil.copyfile(packages / clip.path, HERE / clip.file)
        registry.append(clip_cells(clip))
        sibilants.append(clip_row(clip))
    write_table("registry.csv", REGISTRY, registry)
    write_table("sibilants.csv", SIBILANTS, sibilants)


def clip_cells(clip: Clip) -> dict[str, object]:
    """Registry cells of a real clip."""
    info = soundfile.info(HERE / clip.file)
    return {
        "file": clip.file, "sha256": digest((HERE / clip.file).read_bytes()), "kind": "real_adult", "about": clip.path,
        "sampling_rate_hz": info.samplerate, "n_channels": info.channels, "duration_s": round(info.duration, 4),
        "text": clip.text, "phones": clip.phones, "licence": clip.licence, "credit": clip.credit,
    }  # fmt: skip


def clip_row(clip: Clip) -> dict[str, object]:
    """Sibilant row of a real clip: both people's marks, and the makers' boundary where there is one."""
    return {
        "file": clip.file, "prompt_index": 1, "attempt": 1, "text": clip.text, "stretch": "word", "phone": clip.phone,
        "slot": 1, "onset_s": clip.marks[0], "offset_s": clip.marks[1], "basis": "two people by eye",
        "onset_2_s": clip.marks_2[0], "offset_2_s": clip.marks_2[1], "label_s": clip.label_s,
    }  # fmt: skip


def write_table(name: str, columns: tuple[str, ...], rows: list[dict[str, object]]) -> None:
    """Write rows as CSV, empty where a row has no value."""
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows({k: "" if v is None else v for k, v in row.items()} for row in rows)
    (HERE / name).write_text(text.getvalue(), encoding="utf-8")


if __name__ == "__main__":
    main()
