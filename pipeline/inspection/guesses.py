"""Which column is which channel, in which unit: by name, unit and behaviour, with the reason and the doubt.

Each pair of a channel and a column gets points: what the name says (up to 3, less 4 where it names something else), the unit (3 where
it is of the kind, less 5 where it is of another), and what the column does in the brakings found (up to 10, or less 10). Behaviour
weighs most, so that it decides over names where they disagree. A guess that any of the three does not carry is doubtful, and
says by what.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from pipeline.archive.card import CHANNELS
from pipeline.inspection.behaviour import Behaviour
from pipeline.inspection.names import Said, said
from pipeline.inspection.tables import Column
from pipeline.inspection.unit_guess import is_force, kinds_of, kinds_said, readable
from pipeline.wording import in_percent

NEEDED = ("speed", "torque", "pressure", "disc_temperature")
OPTIONAL = tuple(name for name in CHANNELS if name not in (*NEEDED, "time"))
NO_UNIT = "no unit is stated"
FOREIGN = ("deceleration", "mu", "force", "power", "energy", "voltage", "wear")  # quantities of no channel
DECIDES = 6.0  # points of behaviour alone
BY_WORD = 4.5  # points of name and unit alone
LEAST = 3.0  # points for a guess at all
CLOSE = 4.0  # points within which the second best is a doubt
ALIKE, CLEARLY = 1.15, 1.5  # ratio of two loads' scatter against the deceleration
PROPORTIONAL = 0.08  # scatter of a torque against the deceleration, at most
TRIED = 9  # quarters of brakings for a clear word
LOADS_TOO = ("displacement", "pressure_2", "drive_torque")  # that stand while braking, or may


@dataclass(frozen=True)
class Guess:
    """One channel: its column (place among the table's), unit as a card writes it, why, and what speaks against it."""

    channel: str
    column: str
    place: int
    unit: str
    points: float
    reasons: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    second: str | None = None
    force: bool = False  # a load cell's, which holds the brake's torque at a lever arm

    @property
    def sure(self) -> bool:
        return not self.doubts


@dataclass(frozen=True)
class _Pair:
    points: float
    behaviour: float
    reasons: list[str]
    doubts: list[str]


def guessed(columns: Sequence[Column], seen: Behaviour, leave: frozenset[int] = frozenset()) -> list[Guess]:
    """The guesses, the needed channels first. leave: columns that are time or say nothing. Units stay as the file says them."""
    open_ = [c for c in columns if c.place not in leave]
    words = {c.place: said(c.bare) for c in open_}
    foreign = {
        c.place
        for c in open_
        if "other" in kinds_said(c.unit) or (words[c.place].quantity in FOREIGN and words[c.place].strength > 1)
    }
    whole, seen = seen, replace(seen, scatter={at: found for at, found in seen.scatter.items() if at not in foreign})
    pairs = {(ch, c.place): _weighed(ch, c, words[c.place], seen) for ch in (*NEEDED, *OPTIONAL) for c in open_}
    found: dict[str, int] = {}
    for (channel, place), pair in sorted(pairs.items(), key=lambda one: (-one[1].points, one[0][1])):
        if pair.points < LEAST or channel in found or place in found.values():
            continue
        if channel in OPTIONAL and (
            words[place].channel != channel or (words[place].strength < 2 and not columns[place].unit)
        ):
            continue
        found[channel] = place
    for channel in ("speed", "torque", "pressure"):  # behaviour decides where names and units say otherwise
        left = [(pairs[channel, c.place], c.place) for c in open_ if c.place not in found.values()]
        best = max(left, key=lambda one: (one[0].behaviour, one[0].points), default=None)
        if channel not in found and best is not None and best[0].behaviour >= DECIDES:
            found[channel] = best[1]
    for channel in NEEDED:  # where no behaviour bears it out, name and unit alone, with the doubt
        left = [(pairs[channel, c.place], c.place) for c in open_ if c.place not in found.values()]
        best = max(left, key=lambda one: one[0].points - one[0].behaviour, default=None)
        if channel not in found and best is not None and best[0].points - best[0].behaviour >= BY_WORD:
            found[channel] = best[1]
    guesses = [_guess(ch, found, pairs, columns, words, seen) for ch in (*NEEDED, *OPTIONAL) if ch in found]
    if "torque" not in found and (force := _force(open_, words, whole)) is not None:
        guesses.insert(sum(g.channel == "speed" for g in guesses), force)
    return guesses


def _force(columns: Sequence[Column], words: dict[int, Said], seen: Behaviour) -> Guess | None:
    """The column of a load cell where no torque is found: a force that stands while speed falls, in proportion to how the shaft
    slows; another may be the one that presses the pads."""
    forces = [
        c for c in columns
        if c.place in seen.loads and (is_force(c.unit) or words[c.place].quantity == "force") and not words[c.place].wanted
    ]  # fmt: skip
    if not forces:
        return None
    scatter = {c.place: seen.scatter.get(c.place, (float("inf"), 0))[0] for c in forces}
    best = min(forces, key=lambda c: scatter[c.place])
    reasons = [f"a force that stands while speed falls ({in_percent(seen.loads[best.place])})"]
    doubts = ["no column is a torque, this one is a force"]
    if scatter[best.place] < PROPORTIONAL:
        reasons.append(f"in proportion to how the shaft slows (within {in_percent(scatter[best.place], 1)})")
    else:
        doubts.append("it is not in proportion to how the shaft slows: it may be what presses the pads")
    unit = best.unit if is_force(best.unit) else "N"
    doubts += [] if unit == best.unit else [f"{NO_UNIT}: N is taken"]
    others = next((c.name for c in forces if c is not best), None)
    return Guess("torque", best.name, best.place, unit, LEAST, reasons, doubts, others, force=True)


def _weighed(channel: str, column: Column, word: Said, seen: Behaviour) -> _Pair:
    reasons: list[str] = []
    doubts: list[str] = []
    points = _by_name(channel, word, column, reasons, doubts) + _by_unit(channel, column, reasons, doubts)
    by_behaviour = _by_behaviour(channel, column.place, seen, reasons, doubts)
    if by_behaviour == 0.0 and (word.strength < 2 or not column.unit):
        doubts.append("how it behaves does not tell" if seen.runs else "no braking was found to try it by")
    if word.strength < 2 and word.channel == channel and not (column.unit and by_behaviour > 3):
        doubts.append("its name says little")
    return _Pair(points + by_behaviour, by_behaviour, reasons, doubts)


def _by_name(channel: str, word: Said, column: Column, reasons: list[str], doubts: list[str]) -> float:
    if word.channel == channel:
        reasons.append(f"named {column.bare!r}")
        return float(word.strength) - (0 if word.clear else 0.5)
    if word.wanted:
        doubts.append("its name says that it was wanted, not measured")
        return -6.0
    if word.quantity == "temperature" and channel.endswith("temperature") and word.place not in ("", "second"):
        doubts.append(f"its name says {word.place}")
        return -4.0
    if word.quantity or word.channel:
        doubts.append(f"its name says {(word.channel or word.quantity).replace('_', ' ')}")
        return -4.0 if word.strength > 1 else -2.0
    doubts.append("its name says nothing")
    return 0.0


def _by_unit(channel: str, column: Column, reasons: list[str], doubts: list[str]) -> float:
    kinds = kinds_said(column.unit)
    if not kinds:
        doubts.append(f"its unit {column.unit!r} is not known" if column.unit.strip("- 1") else NO_UNIT)
        return 0.0
    if not kinds & set(kinds_of(channel)):
        doubts.append(f"its unit {column.unit!r} is of another kind")
        return -5.0
    reasons.append(f"in {column.unit}")
    if not readable(column.unit, channel):
        doubts.append(f"{column.unit!r} leaves open whether turns or radians are counted")
    return 3.5 if "angular_speed" in kinds else 3.0


def _by_behaviour(channel: str, at: int, seen: Behaviour, reasons: list[str], doubts: list[str]) -> float:
    if channel == "speed":
        return _as_speed(at, seen, reasons, doubts)
    if channel in ("torque", "pressure"):
        return _as_load(channel, at, seen, reasons, doubts)
    if channel in ("disc_temperature", "pad_temperature", "surface_temperature", "disc_temperature_2"):
        return _as_temperature(at, seen, reasons, doubts)
    if at in seen.loads and channel not in LOADS_TOO:
        doubts.append("stands while speed falls")
        return -3.0
    return 0.0


def _as_speed(at: int, seen: Behaviour, reasons: list[str], doubts: list[str]) -> float:
    if not seen.speed or seen.speed[0][1] < 0.5:
        return 0.0
    share, fall = next(((s, f) for place, s, f in seen.speed if place == at), (0.0, 0.0))
    if share >= 0.8 * seen.speed[0][1] and fall >= 0.7 * seen.speed[0][2]:
        reasons.append(f"falls in {in_percent(share)} of the brakings")
        return 10.0
    doubts.append("it does not fall in the brakings as another column does")
    return -10.0 if share < 0.5 * seen.speed[0][1] else -6.0


def _as_load(channel: str, at: int, seen: Behaviour, reasons: list[str], doubts: list[str]) -> float:
    if not seen.loads:
        return 0.0
    if at not in seen.loads:
        doubts.append("it does not stand while speed falls")
        return -10.0
    reasons.append(f"stands while speed falls ({in_percent(seen.loads[at])})")
    known = {load: q for load, (q, count) in seen.scatter.items() if q < 1 and count >= 3}
    if at not in known or len(known) < 2:
        return 2.0
    least = min(known.values())
    others = [q for load, q in known.items() if load != at]
    proportional = known[at] <= ALIKE * least and known[at] < PROPORTIONAL
    tried = min(count for load, (_, count) in seen.scatter.items() if load in known) >= TRIED
    clear = proportional and tried and min(others) > CLEARLY * known[at]
    if channel == "torque":
        if clear:
            reasons.append(
                f"in proportion to how the shaft slows (within {in_percent(known[at], 1)}; the next {in_percent(min(others), 1)})"
            )
            return 10.0
        if proportional:
            reasons.append(f"in proportion to how the shaft slows (within {in_percent(known[at], 1)})")
            return 4.0
        if known[at] > CLEARLY * least and tried and least < PROPORTIONAL:
            doubts.append("another column is closer in proportion to how the shaft slows")
            return -8.0
        return 0.0
    if clear:
        doubts.append("it is in proportion to how the shaft slows, as torque is")
        return -8.0
    return 6.0


def _as_temperature(at: int, seen: Behaviour, reasons: list[str], doubts: list[str]) -> float:
    if at in seen.loads or (seen.speed and at == seen.speed[0][0]):
        doubts.append("it does not behave as a temperature")
        return -10.0
    if at not in seen.temperatures:
        return 0.0
    share = seen.temperatures[at]
    if share >= 0.6:
        reasons.append(f"rises in {in_percent(share)} of the brakings and stays")
        return 6.0
    if share <= 0.25 and len(seen.runs) >= 3:
        doubts.append("it hardly rises in the brakings")
        return -6.0
    doubts.append(f"it rises in {in_percent(share)} of the brakings only")
    return 0.0


def _guess(
    channel: str, found: dict[str, int], pairs: dict[tuple[str, int], _Pair], columns: Sequence[Column], words: dict[int, Said],
    seen: Behaviour,
) -> Guess:  # fmt: skip
    place = found[channel]
    pair, column = pairs[channel, place], columns[place]
    taken = {
        at
        for name, at in found.items()
        if name != channel and pairs[name, at].points > pairs[channel, at].points + CLOSE
    }
    rivals = [
        (pairs[channel, at].points, at) for (name, at) in pairs if name == channel and at != place and at not in taken
    ]
    second = max(rivals, key=lambda one: (one[0], -one[1]), default=None)
    doubts = list(pair.doubts)
    if second is not None and second[0] <= 0:
        second = None
    if second is not None and second[0] >= pair.points - CLOSE and not _other_kind(column, columns[second[1]]):
        doubts.append(f"{columns[second[1]].name!r} may be it as well")
    if channel == "disc_temperature" and not words[place].clear and words[place].place == "":
        doubts.append("its name does not say whose temperature it is")
    if channel in OPTIONAL and not column.unit:
        doubts = list(dict.fromkeys([*doubts, NO_UNIT]))
    name = columns[second[1]].name if second else None
    return Guess(
        channel,
        column.name,
        place,
        column.unit,
        pair.points,
        pair.reasons,
        list(dict.fromkeys(doubts)),
        name,
    )


def _other_kind(first: Column, second: Column) -> bool:
    """Whether one is a shaft's speed and the other a vehicle's: both are right."""
    return "angular_speed" in kinds_said(first.unit) and "linear_speed" in kinds_said(second.unit)
