"""Codes of clients: random letters without look-alikes, the last of which tells a slip of the pen."""

from __future__ import annotations

CODE_LETTERS = "23456789ACDEFHJKLMNPQRTVWXY"
"""Digits and letters but 0 1 I O S G B U, which a hand or an ear takes for another."""
_CHECK_WEIGHTS, _CHECK_OFFSET, _CHECK_MODULUS = (5, 34, 22), 3, 37  # told below


def check_letter(three: str) -> str | None:
    """Return the fourth letter that belongs to the first three of a client code, or None where there is none.

    c4 = (5 c1 + 34 c2 + 22 c3 + 3) mod 37 over base-36 values; the weights differ and none is 36, so every single
    wrong letter and every swap of neighbours is noticed. Source: own.

    Examples
    --------
    >>> check_letter("7QX")
    'K'
    """
    value = _CHECK_OFFSET + sum(
        weight * int(letter, 36) for weight, letter in zip(_CHECK_WEIGHTS, three.upper(), strict=True)
    )
    letter = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-"[value % _CHECK_MODULUS]
    return letter if letter in CODE_LETTERS else None


def is_client_code(code: str) -> bool:
    """Say whether a text is a client code: ``C-``, three letters without look-alikes, and the check letter.

    Examples
    --------
    >>> is_client_code("C-M4RT"), is_client_code("C-M4TR")
    (True, False)
    """
    body = code.upper().removeprefix("C-")
    if len(code) != 6 or len(body) != 4 or any(letter not in CODE_LETTERS for letter in body):
        return False
    return check_letter(body[:3]) == body[3]
