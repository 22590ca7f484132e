"""Phones written by people."""

from __future__ import annotations

import pytest

from sibilant.errors import LexiconError
from sibilant.lexicon import read_phones, slots_of
from sibilant.lexicon.phones import is_vowel
from sibilant.terms import Word

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


@pytest.mark.parametrize(
    "wrong", ["S IY1 Q", "seal", "/sil", "//", "/s7l/", "S IY9", "S IY12", "S1 IY", "/日本/", "/ˈ/"]
)
def test_what_is_not_a_phone_is_one_line_with_the_way_out(wrong: str) -> None:
    with pytest.raises(LexiconError) as caught:
        read_phones(wrong, shown_as="seal")
    assert "\n" not in str(caught.value)
    assert "ARPABET with spaces" in str(caught.value) and "seal" in str(caught.value)


# The chart of the International Phonetic Association, revised to 2020 (from memory), and the ligatures in older use.
CHART = {
    "consonants": "pbtdʈɖcɟkɡqɢʔmɱnɳɲŋɴʙrʀⱱɾɽɸβfvθðszʃʒʂʐçʝxɣχʁħʕhɦɬɮʋɹɻjɰlɭʎʟ",
    "not from the lungs": "ʘǀǃǂǁɓɗʄɠʛ",
    "others": "ʍwɥʜʢʡɕʑɺɧʦʣʧʤʨʥɫ",
    "vowels": "iyɨʉɯuɪʏʊeøɘɵɤoəɛœɜɞʌɔæɐaɶɑɒɚɝ",
}
MARKS = "̥̬̹̜̟̠̤̰̼̝̞̘̙̪̺̻̯̃̈̽̚ʰʷʲˠˤⁿˡʼːˑ̆"
# Words of other languages, as their handbooks' illustrations write such sounds (from memory).
ELSEWHERE = [
    ("/ˈʂɛɕt͡ɕ/", "SH EH1 SH CH"),
    ("/t͡saɪ̯t/", "T S AY1 T"),
    ("/ˈkʲt͡sz̩/", "K T S Z"),
    ("/ɕǐ˧˥/", "SH IY1"),
    ("/sɹ̩˥/", "S AH1 R"),
    ("/ʃɥi/", "SH W IY1"),
    ("/ʒy/", "ZH UW1"),
    ("/ˈøːstə/", "UH1 S T AH0"),
    ("/ˈãːʃ/", "AE1 SH"),
    ("/ɪç/", "IH1 HH"),
    ("/ɬan/", "TH AE1 N"),
    ("/nɔ.is/", "N AO IY S"),
    ("/kɑ˞s fɜ˞s/", "K AA1 R S"),
    ("/ˈbʌtn̩z/", "B AH1 T AH0 N Z"),
]


@pytest.mark.parametrize("kind", CHART)
def test_every_letter_of_the_alphabet_with_any_mark(kind: str) -> None:
    for letter in CHART[kind]:
        bare = read_phones(f"/{letter}/")[0]
        assert bare and is_vowel(bare[-1]) == (kind == "vowels")
        for mark in MARKS:
            assert read_phones(f"/{letter}{mark}/")[0]


@pytest.mark.parametrize(("ipa", "arpabet"), ELSEWHERE)
def test_words_of_other_languages(ipa: str, arpabet: str) -> None:
    assert " ".join(read_phones(ipa)[0]) == arpabet


def test_rounded_vowels_of_the_chart_round() -> None:
    for letter in "yʉuʏʊøɵoœɞɔɶ":
        assert slots_of([Word("us", read_phones(f"/{letter}s/")[0])])[0].rounded
    for letter in "iɨɯɪeɘɤəɛɜʌæɐaɑ":
        assert not slots_of([Word("us", read_phones(f"/{letter}s/")[0])])[0].rounded


def test_all_unknown_signs_are_named_at_once() -> None:
    with pytest.raises(LexiconError, match=r"'7' \(DIGIT SEVEN\), '日'.* are not known"):
        read_phones("/s7l日/")
    with pytest.raises(LexiconError, match="'Q', 'X' are not ARPABET phones"):
        read_phones("S Q IY1 X")
