"""Published reference values, one with its source, population, method and how it was had; or why none fits."""

from .ages import age_words, read_age
from .answers import Answer, acquisition, find
from .band import new_speaker_band, open_sides, outside_one_of
from .build import Made, Origin, build_ranges
from .compare import TokenValue, beside, compare, comparisons
from .own import own_ranges_csv, read_own_ranges
from .question import Question, read_group
from .rows import AnswerRow, ComparisonRow, NormsRow, RangeRow
from .sourced import unsourced_in_rows, unsourced_in_text
from .tables import all_ranges
from .wording import describe_answer, describe_comparison, describe_norms, describe_range, edges_words

__all__ = [
    "Answer",
    "AnswerRow",
    "ComparisonRow",
    "Made",
    "NormsRow",
    "Origin",
    "Question",
    "RangeRow",
    "TokenValue",
    "acquisition",
    "age_words",
    "all_ranges",
    "beside",
    "build_ranges",
    "compare",
    "comparisons",
    "describe_answer",
    "describe_comparison",
    "describe_norms",
    "describe_range",
    "edges_words",
    "find",
    "new_speaker_band",
    "open_sides",
    "outside_one_of",
    "own_ranges_csv",
    "read_age",
    "read_group",
    "read_own_ranges",
    "unsourced_in_rows",
    "unsourced_in_text",
]
