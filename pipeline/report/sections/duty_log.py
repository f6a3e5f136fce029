"""A duty's log, the log of its cooling, the line pressure that its brakings need and the disc after the last of them, for the sheet."""

from pipeline.report.document import Cell, Text
from pipeline.report.source import Cited
from pipeline.results.duty import DutyLog, DutyProjection
from pipeline.wording import counted


def log_texts(one: Cited[DutyProjection]) -> list[Text]:
    """What the log came to: the cut, its energy, the model against its temperatures, its cooling."""
    log = one.part(lambda duty: duty.log)
    if log is None:
        return []
    found, name = log.result, one.result.duty
    values: dict[str, Cell] = {
        "duty": name,
        "file": found.file,
        "events": str(len(found.events)),
        "told_by": found.told_by,
    }
    words = "{duty} was cut from the log {file}: {events} brakings, told by the {told_by}"
    if found.work_ratio is not None:
        ratio = log.number(f"{name}: work of the deceleration", lambda cut: cut.work_ratio, decimals=2)
        values["ratio"] = ratio
        words += "; the recorded deceleration does {ratio} of the work that the speeds tell"
    said = [Text(words + ".", values)]
    said += [Text("{duty}: {note}.", {"duty": name, "note": note.rstrip(".")}, "open") for note in found.notes]
    return [*said, *_temperature(name, log), *_cooling(name, log)]


def _temperature(name: str, log: Cited[DutyLog]) -> list[Text]:
    held = log.part(lambda cut: cut.temperature)
    if held is None or held.result.rms_k is None:
        return []
    values: dict[str, Cell] = {
        "duty": name,
        "rms": held.number(f"{name}: model less log, rms", lambda t: t.rms_k, decimals=0),
        "largest": held.number(f"{name}: model less log, largest", lambda t: t.largest_k, decimals=0),
    }
    words = "{duty}: before its brakings the disc of the model is {rms} (root mean square) from the log's, at most {largest}."
    return [Text(words, values)]


def _cooling(name: str, log: Cited[DutyLog]) -> list[Text]:
    fitted = log.part(lambda cut: cut.cooling)
    if fitted is None or fitted.result.conductance_w_k is None:
        return []
    use = "the projection uses it" if fitted.result.used else "the projection does not use it"
    why = f" ({fitted.result.why})" if fitted.result.why else ""
    values: dict[str, Cell] = {
        "duty": name,
        "g": fitted.number(f"{name}: cooling by the log", lambda c: c.conductance_w_k, decimals=1),
        "use": use + why,
    }
    return [Text("{duty}: at its usual speed the log's cool-downs tell a convection of {g}; {use}.", values)]


def drive_texts(one: Cited[DutyProjection]) -> list[Text]:
    """The cooling that a log of a drive tells."""
    told = one.part(lambda duty: duty.cooling_log)
    if told is None:
        return []
    found, name = told.result, one.result.duty
    values: dict[str, Cell] = {"duty": name, "file": found.file, "uses": counted(found.uses, "use")}
    notes = [
        Text("{duty}, cooling log: {note}.", {"duty": name, "note": note.rstrip(".")}, "open") for note in found.notes
    ]
    if not found.used:
        values["why"] = (found.why or "").rstrip(".")
        return [Text("{duty}: the cooling log {file} is not used: {why}.", values, "open"), *notes]
    values["opening"] = told.number(f"{name}: opening of the cooling log", lambda log: log.opening, decimals=2)
    values["factor"] = told.number(f"{name}: convection by the cooling log", lambda log: log.factor, decimals=2)
    values["rms"] = told.number(f"{name}: model less cooling log, rms", lambda log: log.rms_k, decimals=0)
    words = (
        "{duty}: by the temperatures before brakings in the cooling log {file} ({uses} at opening {opening}) convection is {factor} times "
        "what the duty states; so run, the model is {rms} (root mean square) off them."
    )
    return [Text(words, values), *notes]


def pressing_texts(one: Cited[DutyProjection]) -> list[Text]:
    """The hardest pressed braking, those without a known friction, and the soak."""
    name, said = one.result.duty, []
    each = one.each(lambda duty: duty.line_pressure_bar)
    known = [entry for entry in each if entry.result.value is not None]
    if known:
        hardest = max(known, key=lambda entry: entry.result.value or 0.0)
        values: dict[str, Cell] = {
            "duty": name,
            "pressure": hardest.number(f"{name}: highest line pressure", lambda p: p, unit="bar", decimals=0),
            "at": hardest.number(f"{name}: there from", lambda p: p.temperature_c, decimals=0),
        }
        of = "its brakings whose friction is known" if len(known) < len(each) else "its brakings"
        said.append(Text(f"{{duty}}: {of} need a line pressure of up to {{pressure}}, that one at {{at}}.", values))
        if hardest.result.pooled_bar is not None:
            beside = {
                "pooled": hardest.number(
                    f"{name}: the same, all batches", lambda p: p.pooled_bar, unit="bar", decimals=0
                )
            }
            by: dict[str, Cell] = {"duty": name, "why": one.result.line_pressure_of or "", **beside}
            said.append(Text("{duty}, line pressure: {why}; by all batches together that one needs {pooled}.", by))
    lacking = [entry.result.why for entry in each if entry.result.value is None]
    if lacking:
        words = "{duty}: line pressure of {count} of {all} brakings is not given: {why}."
        facts: dict[str, Cell] = {
            "duty": name,
            "count": str(len(lacking)),
            "all": str(len(each)),
            "why": lacking[0] or "",
        }
        said.append(Text(words, facts, "open"))
    soak = one.part(lambda duty: duty.soak)
    if soak is not None:
        facts = {
            "duty": name,
            "highest": soak.number(f"{name}: soak from", lambda s: s.highest_c, decimals=0),
            "later": soak.number(f"{name}: soak, last", lambda s: s.temperature_c[-1], unit="°C", decimals=0),
            "minutes": f"{soak.result.after_s[-1] / 60:.0f} min",
        }
        said.append(
            Text("{duty}: stopped after its last braking the disc has {highest}, after {minutes} {later}.", facts)
        )
    return said
