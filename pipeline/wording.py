"""What a number needs in a sentence."""

from __future__ import annotations


def counted(number: int, what: str) -> str:
    """`1 test`, `3 tests`, `2 batches`, `2 copies`; what: the noun of one, with what stands before it (`usable stop`)."""
    if number == 1:
        return f"1 {what}"
    if what.endswith("y") and what[-2:-1] not in "aeiou":
        return f"{number} {what[:-1]}ies"
    return f"{number} {what}{'es' if what.endswith(('ch', 's', 'x')) else 's'}"


def in_percent(share: float, decimals: int = 0) -> str:
    """A share as it is written everywhere: `42 %`, with a blank (ISO 80000-1, 7.1.4; from memory)."""
    return f"{100 * share:.{decimals}f} %"
