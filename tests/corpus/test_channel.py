"""The manifest's column ``channel``. Invented data – not a person."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from sibilant.corpus import CorpusRequest
from sibilant.corpus.manifest import planned
from sibilant.corpus.pieces import key_of, measured_piece
from sibilant.corpus.request import Piece
from sibilant.errors import ListError
from sibilant.lexicon import expect
from sibilant.methods import HOUSE_15K
from sibilant.synthetic import ProbePlan, probe, woman


@pytest.fixture
def stereo(tmp_path: Path) -> Path:
    spoken = probe([expect("seal")], woman(3), 3, plan=ProbePlan(pause_s=(0.3, 0.4)))
    noise = 1e-3 * np.random.default_rng(1).standard_normal(spoken.samples.size)
    soundfile.write(tmp_path / "one.wav", np.stack([noise, spoken.samples], axis=1), spoken.sampling_rate_hz)
    return tmp_path


def pieces(folder: Path, channel: str) -> tuple[Piece, ...]:
    (folder / "manifest.csv").write_text(f"recording,prompts,channel\none.wav,seal,{channel}\n")
    return planned(CorpusRequest(folder, folder / "run")).pieces


def test_the_channel_named_is_the_one_measured(stereo: Path) -> None:
    (piece,) = pieces(stereo, "2")
    assert '"findings": {"found"' in measured_piece(piece, (HOUSE_15K,))
    (other,) = pieces(stereo, "1")
    assert '"findings": {"found"' not in measured_piece(other, (HOUSE_15K,))
    assert key_of(piece, (HOUSE_15K,)) != key_of(other, (HOUSE_15K,))


def test_without_one_two_channels_that_differ_are_refused(stereo: Path) -> None:
    (piece,) = pieces(stereo, "")
    assert '"findings": {"unreadable"' in measured_piece(piece, (HOUSE_15K,))


@pytest.mark.parametrize("channel", ["left", "0", "-1", "1.5"])
def test_a_channel_is_a_number_from_one(stereo: Path, channel: str) -> None:
    with pytest.raises(ListError, match=r"line 2.*channel"):
        pieces(stereo, channel)
