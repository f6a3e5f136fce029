"""What chance alone does to the figures of a small part of a study."""

from __future__ import annotations

from scipy.stats import binomtest


def surely_under(wanted: float, share: float, independent: int) -> bool:
    """Whether a share is under the wanted one beyond chance: binomial, one in a hundred.

    `independent`: what was drawn for itself; answers that share a compound's errors count as one.
    """
    return bool(binomtest(round(share * independent), independent, wanted, alternative="less").pvalue < 0.01)
