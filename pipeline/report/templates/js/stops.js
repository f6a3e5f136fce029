// The stops of the test: their columns, which of them are picked out by filters and by a box, and which one is chosen.
stopsheet.stops = (function () {
  const { columns, texts } = stopsheet.read("stops-data");
  const places = new Map(columns.stop.map((stop, place) => [stop, place]));
  const filters = { purpose: new Set(), block: "", use: "", findings: "" };
  const heard = { selection: [], chosen: [] };
  let box = null, chosen = null, selection = null;

  function value(stop, name) {
    const own = columns[name][places.get(stop)];
    if (!texts[name]) { return own; }
    return Array.isArray(own) ? own.map((place) => texts[name][place]) : texts[name][own];
  }

  function passes(stop) {
    return (!filters.purpose.size || filters.purpose.has(value(stop, "purpose")))
      && (!filters.block || value(stop, "block") === filters.block)
      && (!filters.use || value(stop, "use") === filters.use)
      && (!filters.findings || value(stop, "findings").includes(filters.findings))
      && (!box || box.has(stop));
  }

  function changed() {
    const any = filters.purpose.size || filters.block || filters.use || filters.findings || box;
    selection = any ? new Set(columns.stop.filter(passes)) : null;
    heard.selection.forEach((act) => act(selection));
  }

  function filter(name, wanted) {
    if (name === "purpose") {
      if (!filters.purpose.delete(wanted)) { filters.purpose.add(wanted); }
    } else { filters[name] = wanted; }
    changed();
  }

  function clear() {
    filters.purpose.clear();
    filters.block = filters.use = filters.findings = "";
    box = null;
    changed();
  }

  function choose(stop) {
    chosen = places.has(stop) ? stop : null;
    heard.chosen.forEach((act) => act(chosen));
  }

  // The next or previous stop in the order run, among the selected ones.
  function beside(step) {
    const order = selection ? columns.stop.filter((stop) => selection.has(stop)) : columns.stop;
    if (!order.length) { return null; }
    if (chosen === null) { return order[0]; }
    const later = order.findIndex((stop) => stop > chosen), at = order.indexOf(chosen);
    const place = at >= 0 ? at + step : step > 0 ? later : (later < 0 ? order.length : later) - 1;
    return order[place] === undefined ? null : order[place];
  }

  return {
    columns, texts, filters, value, filter, clear, choose, beside,
    has: (stop) => places.has(stop),
    boxed: (stops) => { box = stops; changed(); },
    chosen: () => chosen,
    selection: () => selection,
    onSelection: (act) => heard.selection.push(act),
    onChosen: (act) => heard.chosen.push(act),
  };
})();
