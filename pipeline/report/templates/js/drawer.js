// The chosen stop: its figures, traces, corrections and findings beside the plots, kept in the page's address.
stopsheet.drawer = (function () {
  const { stops, figures } = stopsheet;
  const known = {};
  const drawer = document.getElementById("drawer"), sentences = document.getElementById("sentences");
  const part = (name) => drawer.querySelector(`[data-part="${name}"]`);
  let from = null;  // what had the focus when the drawer opened

  // Times of evenly spaced samples are written as their first, their step and their number.
  const times = (given) => Array.isArray(given) ? given : Array.from({ length: given.count }, (_, place) => given.from + place * given.step);

  stopsheet.take = (traces) => Object.assign(known, traces);  // what a file of traces calls

  function element(kind, words, style) {
    const node = document.createElement(kind);
    node.textContent = words;
    if (style) { node.className = style; }
    return node;
  }

  function rows(name, pairs) {
    part(name).replaceChildren(...pairs.map(([words, value]) => {
      const row = document.createElement("tr"), head = element("th", words);
      head.scope = "row";
      row.append(head, element("td", value));
      return row;
    }));
    part(name).closest("table").hidden = !pairs.length;
  }

  function findings(found) {
    part("findings").replaceChildren(...found.map((one) => {
      const item = document.createElement("li");
      item.append(element("span", one.severity, `mark ${one.severity}`), ` ${one.message}${one.where ? ` (${one.where})` : ""}. `);
      if (one.evidence) { item.append(element("span", `${one.evidence}. `, "evidence")); }
      item.append(element("span", `To do: ${one.action}`));
      return item;
    }));
    part("findings").hidden = !found.length;
  }

  function traces(stop) {
    const own = known[stop], node = document.getElementById("stop-traces");
    const empty = !own || !(own.conditioned.time_s || own.raw.time_s);
    node.hidden = empty;
    if (empty || typeof Plotly === "undefined") { return; }
    const spec = figures.specs.one_stop;
    const data = spec.data.map((trace) => {
      const source = own[trace.meta.of];
      return { ...trace, x: source[trace.meta.column] ? times(source.time_s) : [], y: source[trace.meta.column] || [] };
    });
    const looks = { zero: ["#7d868e", 0.2], evaluation: ["#0b5c6b", 0.1] };
    const shapes = own.windows.filter(([kind]) => looks[kind]).map(([kind, start, end]) => ({ type: "rect", xref: "x", yref: "paper",
      x0: start, x1: end, y0: 0, y1: 1, layer: "below", line: { width: 0 }, fillcolor: looks[kind][0], opacity: looks[kind][1] }));
    for (const [kind, start, end] of own.windows) {
      if (kind !== "braking") { continue; }
      for (const at of [start, end]) { shapes.push({ type: "line", xref: "x", yref: "paper", x0: at, x1: at, y0: 0, y1: 1, line: { width: 1, color: "#5f6a73", dash: "dot" } }); }
    }
    Plotly.react(node, data, { ...spec.layout, shapes, width: node.clientWidth, datarevision: stop }, figures.config).then(() => { node.dataset.shown = String(stop); });
  }

  // The empty panels are made while the page has nothing else to do: the first stop then needs its curves alone.
  function prepare() {
    const node = document.getElementById("stop-traces"), spec = figures.specs.one_stop;
    if (node.data || !spec || typeof Plotly === "undefined") { return; }
    const data = spec.data.map((trace) => ({ ...trace, x: [0, 1], y: [0, 1] }));
    Plotly.newPlot(node, data, { ...spec.layout, width: Math.max(sentences.clientWidth - 28, 300) }, figures.config);
  }
  figures.idle.push(prepare);
  window.addEventListener("resize", () => { if (stops.chosen() !== null && known[stops.chosen()]) { traces(stops.chosen()); } });

  function fill(stop) {
    const own = known[stop];
    rows("facts", own.facts);
    rows("corrections", own.corrections);
    findings(own.findings);
    part("note").textContent = own.note;
    stopsheet.library.then(() => { if (stops.chosen() === stop) { traces(stop); } }, () => { part("note").textContent = "To draw the traces the page needs the folder assets/ of the results; copy the whole folder."; });
  }

  function show(stop) {
    const figure = stops.value(stop, "mu"), u = stops.value(stop, "mu_u");
    part("title").textContent = `Stop ${stop}`;
    part("of").textContent = `${stops.value(stop, "block")}, ${stops.value(stop, "purpose")}`;
    part("use").textContent = stops.value(stop, "use");
    part("use").className = `mark ${stops.value(stop, "status")}`;
    part("mu").textContent = figure === null ? "no µ" : `µ ${figure.toFixed(3)}${u === null ? "" : ` ± ${(2 * u).toFixed(3)}`}`;
    const bite = stops.value(stop, "mu_bite");
    part("more").textContent = `${u === null ? "" : "± twice its standard uncertainty"}${bite === null ? "" : `; bite ${bite.toFixed(3)}`}`;
    for (const [name, step] of [["previous", -1], ["next", 1]]) { part(name).disabled = stops.beside(step) === null; }
    document.getElementById("stop-number").value = stop;
    const address = stops.value(stop, "file");
    if (known[stop]) { fill(stop); return; }
    ["facts", "corrections"].forEach((name) => rows(name, []));
    findings([]);
    part("note").textContent = "Loading …";
    stopsheet.load(address).then(() => { if (stops.chosen() === stop && known[stop]) { fill(stop); } }, () => {
      document.getElementById("stop-traces").hidden = true;
      part("note").textContent = `Its traces stand in ${address} beside this page, which is not there; copy the whole folder, not the page alone.`;
    });
  }

  function address(stop) {
    try { history.replaceState(null, "", stop === null ? location.pathname + location.search : `#stop-${stop}`); } catch { location.hash = stop === null ? "" : `stop-${stop}`; }
  }

  stops.onChosen((stop) => {
    const wasOpen = !drawer.hidden;
    drawer.hidden = stop === null;
    sentences.hidden = stop !== null;
    address(stop);
    if (stop === null) {
      if (from && from.isConnected) { from.focus(); }
      from = null;
      return;
    }
    if (!wasOpen) { from = document.activeElement === document.body ? null : document.activeElement; drawer.scrollTop = 0; }
    show(stop);
  });

  function move(step) {
    const next = stops.beside(step);
    if (next !== null) { stops.choose(next); }
  }

  function fromAddress() {
    const asked = /^#stop-(\d+)$/.exec(location.hash);
    if (!asked) { return; }
    if (stops.has(Number(asked[1]))) { stops.choose(Number(asked[1])); } else { document.getElementById("selected-count").textContent = `There is no stop ${asked[1]}.`; }
  }

  part("previous").addEventListener("click", () => move(-1));
  part("next").addEventListener("click", () => move(1));
  part("close").addEventListener("click", () => stops.choose(null));
  window.addEventListener("hashchange", fromAddress);
  document.querySelectorAll("[data-stop]").forEach((node) => node.addEventListener("click", () => stops.choose(Number(node.dataset.stop))));
  document.addEventListener("keydown", (event) => {
    const typing = /^(INPUT|SELECT|TEXTAREA)$/.test(event.target.tagName);
    if (event.key === "Escape" && stops.chosen() !== null) { stops.choose(null); event.preventDefault(); return; }
    if (event.key === "Escape" && stops.selection()) { stops.clear(); return; }
    if (typing || event.ctrlKey || event.metaKey || event.altKey || stops.chosen() === null) { return; }
    if (event.key === "ArrowLeft" || event.key === "ArrowRight") { move(event.key === "ArrowLeft" ? -1 : 1); event.preventDefault(); }
  });
  return { begin: fromAddress };
})();
