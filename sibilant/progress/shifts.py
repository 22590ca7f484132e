"""How far a session's figures had moved by noise that is in them, by the ratio of the sounds to the noise.

Whole invented probes of eight kinds of /s/ through the pipeline, in white, pink, fan-like and babble-like noise, each
against the same words at 50 dB: the mean over words, up and down added, at each ratio and above it
(docs/evidence/room_probes.csv; lengths and level also docs/evidence/room_lengths.csv).
"""

from __future__ import annotations

from collections.abc import Mapping

AT_DB = (6.0, 9.0, 12.0, 15.0, 20.0, 25.0, 30.0, 40.0)
"""Mean ratio of the sounds to the noise at 4-10 kHz, for each place of the tables."""
# fmt: off
SHIFTS: Mapping[str, tuple[float, ...]] = {
    "duration_ms": (34, 26, 26, 20, 13, 9.3, 4.9, 0.56),
    "core_duration_ms": (24, 17, 17, 13, 6, 2.5, 1.5, 0.57),
    "relative_duration": (0.086, 0.078, 0.078, 0.058, 0.051, 0.034, 0.03, 0.013),
    "rise_ms": (23, 18, 18, 13, 7.9, 5.1, 3, 0.3),
    "level_re_vowel_db": (6, 6, 6, 3.7, 1.7, 0.75, 0.3, 0.059),
    "voiced_share": (0.04, 0.038, 0.038, 0.03, 0.017, 0.014, 0.011, 0.0042),
    "slope_below_db_khz": (1.1, 1.1, 1.1, 1.1, 1, 0.31, 0.2, 0.047),
    "slope_above_db_khz": (0.24, 0.24, 0.24, 0.2, 0.17, 0.13, 0.079, 0.017),
    "spread_50_hz": (170, 88, 88, 81, 48, 32, 11, 2.8),
    "spread_90_hz": (220, 220, 220, 170, 140, 120, 54, 17),
    "tonality_db": (1.8, 1.5, 1.5, 0.79, 0.43, 0.31, 0.23, 0.11),
    "whistle_width_hz": (24, 24, 24, 23, 17, 17, 14, 4),
    "centroid_movement_hz": (47, 44, 44, 33, 21, 12, 11, 4.8),
    "peak_course_0_hz": (520, 390, 390, 370, 350, 350, 120, 21),
    "peak_course_1_hz": (370, 370, 370, 370, 280, 250, 77, 58),
    "peak_course_2_hz": (240, 170, 160, 160, 150, 150, 93, 44),
    "peak_course_3_hz": (170, 170, 170, 170, 140, 130, 120, 54),
    "level_course_0_db": (2, 1.6, 1.6, 1.5, 1.2, 0.84, 0.61, 0.2),
    "level_course_1_db": (1.6, 1.4, 1.4, 1.2, 0.97, 0.75, 0.57, 0.19),
    "level_course_2_db": (2.6, 2.4, 2.4, 2.1, 1.6, 1.3, 0.85, 0.29),
    "level_course_3_db": (0.66, 0.55, 0.55, 0.52, 0.39, 0.28, 0.27, 0.072),
}
"""Measures without an error of their own that tells it, the noise taken out where it can be."""
LEFT_IN: Mapping[str, tuple[float, ...]] = {
    "centroid_hz": (1200, 940, 700, 380, 180, 58, 51, 4.2),
    "sd_hz": (1100, 1100, 830, 530, 310, 120, 120, 4.9),
    "skewness": (3.6, 3.6, 3.6, 3.2, 2, 0.92, 0.44, 0.058),
    "excess_kurtosis": (12, 12, 11, 7.2, 2.8, 0.69, 0.38, 0.073),
    "peak_hz": (740, 740, 740, 630, 590, 500, 230, 76),
    "mid_peak_hz": (770, 770, 770, 560, 480, 390, 200, 91),
    "peak_erb": (2.3, 1.2, 1.2, 1.2, 1.2, 0.56, 0.11, 0.0091),
    "low_mid_db": (21, 21, 21, 18, 14, 9.1, 5.6, 1.2),
    "mid_high_db": (5.7, 4.4, 3.2, 1.6, 0.88, 0.35, 0.29, 0.029),
    "amplitude_difference_db": (23, 23, 22, 19, 14, 10, 7, 2.5),
    "slope_below_db_khz": (6.3, 6.3, 6.3, 4.7, 3.6, 2.2, 1.4, 0.26),
    "slope_above_db_khz": (1.8, 1.8, 1.8, 1.4, 0.79, 0.4, 0.19, 0.022),
    "spread_50_hz": (1500, 1200, 740, 740, 460, 210, 200, 4),
    "spread_90_hz": (4500, 4500, 3900, 1900, 980, 370, 370, 18),
    "tonality_db": (3.1, 3.1, 2.2, 1.5, 1.3, 0.26, 0.19, 0.023),
    "whistle_width_hz": (32, 32, 25, 21, 15, 15, 13, 1.7),
    "centroid_slope_hz_ms": (5.2, 5.2, 4.9, 2.5, 2.1, 1.9, 1.4, 0.11),
    "centroid_movement_hz": (290, 290, 290, 220, 76, 75, 75, 1.9),
    "centroid_course_0_hz": (1400, 1200, 950, 590, 340, 190, 150, 5),
    "centroid_course_1_hz": (310, 310, 310, 210, 130, 120, 84, 8),
    "centroid_course_2_hz": (270, 270, 270, 230, 190, 190, 150, 5.4),
    "centroid_course_3_hz": (180, 130, 130, 130, 130, 110, 110, 4.3),
    "peak_course_0_hz": (550, 550, 550, 510, 240, 230, 130, 30),
    "peak_course_1_hz": (800, 720, 720, 460, 270, 270, 130, 61),
    "peak_course_2_hz": (480, 480, 480, 390, 390, 340, 170, 56),
    "peak_course_3_hz": (750, 750, 750, 380, 380, 380, 150, 60),
    "level_course_0_db": (3.6, 3.6, 3.6, 3.1, 2.5, 1.9, 1.7, 0.2),
    "level_course_1_db": (2, 2, 2, 1.8, 1.5, 1.3, 1.1, 0.24),
    "level_course_2_db": (2.5, 2.5, 2.5, 2.2, 1.7, 1.3, 0.86, 0.28),
    "level_course_3_db": (0.94, 0.94, 0.94, 0.8, 0.8, 0.73, 0.5, 0.075),
    "tonality_1_db": (1.2, 1.2, 1, 0.58, 0.55, 0.32, 0.26, 0.034),
    "tonality_width_hz": (570, 570, 570, 310, 130, 70, 30, 2.5),
}
"""Spectral measures where noise stays in: version 1 of the house methods, or a floor that moves with the gain. What a
moving floor does to lengths is not known well enough."""
# fmt: on
