"""Each sentence of docs/security.md points to a test that is there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "docs" / "security.md").read_text(encoding="utf-8")


def rows() -> list[tuple[str, list[str]]]:
    found = re.findall(r"^\| (?!sentence|---)(.+?) \| (.+) \|$", TEXT, re.M)
    return [(sentence, re.findall(r"`(tests/[^`]+)`", cell)) for sentence, cell in found]


def test_every_sentence_names_a_test_and_every_test_named_is_there() -> None:
    assert len(rows()) >= 40
    for sentence, named in rows():
        assert named, sentence
        for one in named:
            path, _, function = one.partition("::")
            source = ROOT / path
            assert source.is_file(), one
            names = {node.name for node in ast.walk(ast.parse(source.read_text(encoding="utf-8")))
                     if isinstance(node, ast.FunctionDef)}  # fmt: skip
            assert not function or function in names, one
            assert function or any(name.startswith("test_") for name in names), one
