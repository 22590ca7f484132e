"""The dictionary's compact form: sorted entries in blocks, each compressed alone, with an index of first words.

Layout: 4 bytes length of the index (big-endian), the index (JSON, compressed), the blocks. One block is text, one
entry a line, ``word<TAB>phones<TAB>phones...``. A look-up opens one block; nothing else is parsed.
"""

from __future__ import annotations

import json
import zlib

BLOCK_BYTES = 6000  # unpacked to read one word


def pack(text: str) -> bytes:
    r"""Pack the text of ``cmudict.dict`` (``word(2) PHONES # remark`` a line).

    Examples
    --------
    >>> index, start = read_index(pack("bus B AH1 S\nuse Y UW1 S\nuse(2) Y UW1 Z\n"))
    >>> index
    [('bus', 0, 32)]
    """
    entries: dict[str, list[str]] = {}
    for line in text.splitlines():
        body = line.split("#")[0].split()
        if body:
            entries.setdefault(body[0].split("(")[0], []).append(" ".join(body[1:]))
    blocks: list[tuple[str, bytes]] = []
    lines: list[str] = []
    size = 0
    for word in sorted(entries):
        lines.append("\t".join([word, *entries[word]]))
        size += len(lines[-1])
        if size > BLOCK_BYTES:
            blocks.append(_block(lines))
            lines, size = [], 0
    if lines:
        blocks.append(_block(lines))
    index, at = [], 0
    for first, squeezed in blocks:
        index.append((first, at, len(squeezed)))
        at += len(squeezed)
    head = zlib.compress(json.dumps(index).encode(), 9)
    return len(head).to_bytes(4, "big") + head + b"".join(squeezed for _, squeezed in blocks)


def read_index(content: bytes) -> tuple[list[tuple[str, int, int]], int]:
    """Index of a packed dictionary, ``(first word, place, length)`` a block, and where the blocks start."""
    size = int.from_bytes(content[:4], "big")
    index = json.loads(zlib.decompress(content[4 : 4 + size]))
    return [(first, place, length) for first, place, length in index], 4 + size


def find_in_block(content: bytes, start: int, length: int, word: str) -> tuple[str, ...]:
    """Pronunciations of a word in one block; empty when it is not there."""
    text = "\n" + zlib.decompress(content[start : start + length]).decode() + "\n"
    at = text.find(f"\n{word}\t")
    return tuple(text[at + 1 : text.index("\n", at + 1)].split("\t")[1:]) if at >= 0 else ()


def _block(lines: list[str]) -> tuple[str, bytes]:
    return lines[0].split("\t")[0], zlib.compress("\n".join(lines).encode(), 9)
