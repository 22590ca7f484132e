"""Phones written by people."""

from __future__ import annotations

import pytest

from sibilant.errors import LexiconError
from sibilant.lexicon import read_phones

# IPA values: International Phonetic Association chart and the ARPABET table of the CMU dictionary (from memory).
IPA = [
    ("/siːl/", "S IY1 L"),
    ("/sil/", "S IY1 L"),
    ("/ˈsɝkəl/", "S ER1 K AH0 L"),
    ("/ˈsɜːkəl/", "S ER1 K AH0 L"),
    ("/ˈsʌmɚ/", "S AH1 M ER0"),
    ("/ˈsʌmər/", "S AH1 M ER0"),
    ("/ˈmæsəl̩/", "M AE1 S AH0 AH0 L"),
    ("/ˈkæsl̩/", "K AE1 S AH0 L"),
    ("/t͡ʃiz/", "CH IY1 Z"),
    ("/tʃiːz/", "CH IY1 Z"),
    ("/d͡ʒuːs/", "JH UW1 S"),
    ("/ˈdaɪ.nəˌsɔɹ/", "D AY1 N AH0 S AO2 R"),
    ("/strɔː/", "S T R AO1"),
    ("/ʃʊɡɚ/", "SH UH G ER"),
    ("/ˈsoʊ.də/", "S OW1 D AH0"),
    ("/ˈsəʊdə/", "S OW1 D AH0"),
    ("/ˈvɪʒən/", "V IH1 ZH AH0 N"),
    ("/θɪŋ/", "TH IH1 NG"),
    ("/ðɪs/", "DH IH1 S"),
    ("/sʰut/", "S UW1 T"),
    ("/ˈɹeɪsɪŋ/", "R EY1 S IH0 NG"),
    ("/ˈɛrə/", "EH1 R AH0"),
    ("/s/", "S"),
]


@pytest.mark.parametrize(("ipa", "arpabet"), IPA)
def test_ipa(ipa: str, arpabet: str) -> None:
    assert " ".join(read_phones(ipa)[0]) == arpabet


def test_words_are_divided() -> None:
    assert read_phones("/sɪks sɑks/") == (("S", "IH1", "K", "S"), ("S", "AA1", "K", "S"))
    assert read_phones("Y UW1 Z | - | s iy1") == (("Y", "UW1", "Z"), (), ("S", "IY1"))


@pytest.mark.parametrize("wrong", ["S IY1 Q", "seal", "/sil", "//", "/s7l/", "S IY9", "S IY12", "S1 IY", "/日本/"])
def test_what_is_not_a_phone_is_one_line_with_the_way_out(wrong: str) -> None:
    with pytest.raises(LexiconError) as caught:
        read_phones(wrong, shown_as="seal")
    assert "\n" not in str(caught.value)
    assert "ARPABET with spaces" in str(caught.value) and "seal" in str(caught.value)
