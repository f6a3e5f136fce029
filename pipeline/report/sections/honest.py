"""What the window and the pooled curve do not show: stops off the band inside the window, and batches that differ."""

import polars as pl

from pipeline.report import off_band
from pipeline.report.document import Cell, Number, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.stop_figures import temperature_column
from pipeline.results.batches import Pair

MOST_ROWS = 12
FILE = "tests/*/stops.parquet"


def _rows(inputs: Inputs) -> pl.DataFrame:
    """Blocks with stops off the band, over all tests, by the compound's window and band."""
    column, _ = temperature_column(inputs.settings.reduction.temperature)
    parts = [
        off_band.by_block(test.stops, inputs.friction.result, column).with_columns(test=pl.lit(test.test))
        for test in inputs.usable
    ]
    return pl.concat(parts).sort("off", descending=True, maintain_order=True) if parts else pl.DataFrame()


def off_text(inputs: Inputs) -> list[Text]:
    """How many stops of any purpose lie inside the window's temperatures and outside the band, in which blocks; []
    for none.
    """
    rows, found = _rows(inputs), inputs.friction.result
    if rows.is_empty() or found.window is None or found.wanted_mu is None:
        return []
    column, _ = temperature_column(inputs.settings.reduction.temperature)
    band = off_band.band_words(found)
    key = off_band.condition(found.window, found.wanted_mu, column)
    of, least, most = int(rows["off"].sum()), float(rows["low"].min()), float(rows["high"].max())  # type: ignore[arg-type]
    names = list(dict.fromkeys(rows["block"].to_list()))
    values: dict[str, Cell] = {
        "count": Number(
            f"ok stops inside the window's temperatures and outside {band}", of, "", FILE, f"count of rows: {key}"
        ),
        "low": Number("lowest µ of them", least, "", FILE, f"lowest mu of rows: {key}", decimals=3),
        "high": Number("highest µ of them", most, "", FILE, f"highest mu of rows: {key}", decimals=3),
        "blocks": ", ".join(names[:4]) + (" and others" if len(names) > 4 else ""),
        "band": band,
    }
    said = (
        "Stops of any purpose inside the window's temperatures (its ends' intervals included) and outside {band}: "
        "{count}, "
        "µ {low} to {high}, in {blocks}."
    )
    return [Text(said, values, "open"), *worst_batch(inputs)]


def missed(inputs: Inputs) -> list[tuple[str, int, int]]:
    """Kinds of use (block, over all tests) and batches, at the window's temperatures, of whose stops more miss the band than the
    window's coverage allows: (name, stops off, stops), the worst first. A batch counts its map and checks."""
    rows, window = _rows(inputs), inputs.friction.result.window
    if window is None:
        return []
    found = [] if rows.is_empty() else _by_name(rows)
    found += [(f"{MAPPED} of batch {batch}", off, of) for batch, (off, of) in _by_batch(inputs).items()]
    beyond = [one for one in found if one[2] and one[1] > (1 - window.coverage) * one[2]]
    return sorted(beyond, key=lambda one: one[1] / one[2], reverse=True)


def _by_name(rows: pl.DataFrame) -> list[tuple[str, int, int]]:
    """Stops of each block that is no map and no check, over all tests."""
    use = rows.filter(~pl.col("purpose").is_in(["map", "check"]))
    own = use.group_by("block", "purpose", maintain_order=True).agg(pl.col("off", "inside").sum())
    return [(f"{one['block']} ({one['purpose']})", one["off"], one["inside"]) for one in own.iter_rows(named=True)]


MAPPED = "map and checks"


def missed_text(inputs: Inputs) -> tuple[str, dict[str, Cell]]:
    """What of the window's promise single kinds of use or batches do not keep, in a sentence with its values; nothing where all do."""
    found = missed(inputs)
    if not found:
        return "", {}
    values: dict[str, Cell] = {}
    pieces = []
    for k, (name, off, of) in enumerate(found):
        key = f"{name}: ok stops at the window's temperatures"
        values |= {
            f"missed_{k}": name,
            f"off_{k}": Number(f"{key}, outside the band", off, "", FILE, f"count of {key} and outside the band"),
            f"of_{k}": Number(key, of, "", FILE, f"count of {key}"),
        }
        pieces.append(f"{{missed_{k}}} {{off_{k}}} of {{of_{k}}}")
    return f" Not so of these, which lie outside it: {', '.join(pieces)}.", values


def _by_batch(inputs: Inputs) -> dict[str, tuple[int, int]]:
    """(stops outside the band, stops) of the map and checks inside the window, by batch."""
    found = inputs.friction.result
    if found.window is None or found.wanted_mu is None:
        return {}
    column, _ = temperature_column(inputs.settings.reduction.temperature)
    (start, end), (least, most) = (found.window.low_c, found.window.high_c), found.wanted_mu
    counts: dict[str, tuple[int, int]] = {}
    for test in inputs.usable:
        if test.card is None:
            continue
        inside = test.stops.filter(
            pl.col("status") == "ok", pl.col("purpose").is_in(["map", "check"]), pl.col(column).is_between(start, end)
        )["mu"].drop_nulls()
        off, of = counts.get(test.card.batch, (0, 0))
        counts[test.card.batch] = (off + int((~inside.is_between(least, most)).sum()), of + inside.len())
    return counts


def worst_batch(inputs: Inputs) -> list[Text]:
    """The batch of which most stops of map and checks inside the window lie outside the band: a share over all batches is no
    batch's. [] for one batch, or where none has any."""
    found = inputs.friction.result
    if found.window is None or found.wanted_mu is None:
        return []
    column, _ = temperature_column(inputs.settings.reduction.temperature)
    ends, (least, most) = (found.window.low_c, found.window.high_c), found.wanted_mu
    counts = _by_batch(inputs)
    shares = {batch: off / of for batch, (off, of) in counts.items() if of}
    if len(shares) < 2 or not max(shares.values()):
        return []
    batch = max(shares, key=lambda name: shares[name])
    key = f"rows of batch {batch}: status is ok, purpose is map or check, {column} from {ends[0]} to {ends[1]}"
    name = f"batch {batch}: ok stops of map and checks inside the window"
    values: dict[str, Cell] = {
        "batch": batch,
        "off": Number(f"{name} and outside {off_band.band_words(found)}", counts[batch][0], "", FILE,
                      f"count of {key}, mu outside {least} to {most}"),
        "of": Number(name, counts[batch][1], "", FILE, f"count of {key}"),
        "band": off_band.band_words(found),
    }  # fmt: skip
    said = (
        "By batch: of the stops of map and checks inside the window, at whatever pressure and energy, most lie outside {band} "
        "in batch {batch}: {off} of {of}."
    )
    return [Text(said, values, "open")]


def off_table(inputs: Inputs) -> list[Table]:
    """The blocks of such stops, most first, with how many of the block's stops inside the window they are."""
    rows, found = _rows(inputs), inputs.friction.result
    if rows.is_empty() or found.window is None or found.wanted_mu is None:
        return []
    column, _ = temperature_column(inputs.settings.reduction.temperature)
    key = off_band.condition(found.window, found.wanted_mu, column)
    cells: list[list[Cell]] = []
    for row in rows.head(MOST_ROWS).iter_rows(named=True):
        own = f"{row['test']}, block {row['block']}"
        where = f"rows of {own}: {key}"
        cells.append(
            [
                row["test"],
                row["block"],
                row["purpose"],
                Number(f"{own}: stops off the band", row["off"], "", FILE, f"count of {where}"),
                Number(f"{own}: stops inside the window", row["inside"], "", FILE, f"count of {where}, whatever mu"),
                Number(f"{own}: lowest µ off the band", row["low"], "", FILE, f"lowest mu of {where}", decimals=3),
                Number(f"{own}: highest µ off the band", row["high"], "", FILE, f"highest mu of {where}", decimals=3),
            ]
        )
    caption = "Stops inside the window's temperatures (its ends' intervals included) and outside the band, by block" + (
        ", the most numerous first" if len(rows) > MOST_ROWS else ""
    )
    return [
        Table(
            caption, ["Test", "Block", "Purpose", "Stops off the band", "of stops in the window", "µ from", "to"], cells
        )
    ]


def apart(inputs: Inputs) -> list[Pair]:
    """Pairs of batches that are shown to differ in friction."""
    return [pair for pair in inputs.batches.result.pairs if pair.mu_verdict == "different"]


def pooled_text(inputs: Inputs) -> list[Text]:
    """Says that the pooled curve and window are no batch's where batches are shown to differ, with each batch's own
    level.
    """
    pairs = apart(inputs)
    if not pairs:
        return []
    values: dict[str, Cell] = {"pairs": "; ".join(f"{pair.a} and {pair.b}" for pair in pairs)}
    levels = []
    for i, batch in enumerate(inputs.batches.each(lambda found: found.batches)):
        name = batch.result.batch
        label = f"batch {name}: µ at reference conditions"
        values |= {f"name_{i}": name, f"mu_{i}": batch.number(label, lambda found: found.mu)}
        levels.append(f"{{name_{i}}} {{mu_{i}}}")
    said = (
        "Friction (µ) differs by batch: {pairs}. The curve is none of theirs. µ at the reference conditions: "
        + "; ".join(levels)
        + "."
    )
    return [Text(said, values, "open")]
