"""What leaving stops out does to a block's mean friction: with the suspect ones and without them.

A rejected stop has no mu, so it can only be counted; its energy and wear stay in the test.
"""

import polars as pl

from pipeline.results.summary import BlockMean


def block_means(stops: pl.DataFrame) -> list[BlockMean]:
    """One entry per block that has a stop which is not ok, in the order run; a mean is None where no such stop has a
    mu.
    """
    ok, suspect, rejected = (pl.col("status") == name for name in ("ok", "suspect", "rejected"))
    table = (
        stops.filter(pl.col("block").is_not_null())
        .group_by("block", maintain_order=True)
        .agg(
            ok=ok.sum(),
            suspect=suspect.sum(),
            rejected=rejected.sum(),
            mu_without=pl.col("mu").filter(ok).mean(),
            mu_with=pl.col("mu").filter(ok | suspect).mean(),
        )
        .filter((pl.col("suspect") > 0) | (pl.col("rejected") > 0))
        .with_columns(difference=pl.col("mu_with") - pl.col("mu_without"))
    )
    return [BlockMean(**row) for row in table.to_dicts()]
