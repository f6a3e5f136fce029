// Plots of stops: all answer a click by choosing the stop, ring the chosen one, and those that are linked share the selection.
stopsheet.linked = (function () {
  const { stops, figures } = stopsheet;
  const RING = "#a3301c";
  const plain = (text) => String(text).replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");

  // The stop of each point of a trace, or null where its points stand for no single stop.
  function stopsOf(trace) {
    const meta = trace.meta || {};
    if (meta.stops) { return meta.stops; }
    const place = (meta.fields || []).indexOf("stop");
    if (place < 0) { return null; }
    return meta.fields.length > 1 ? trace.customdata.map((row) => row[place]) : trace.customdata;
  }

  figures.completed.push((name, spec) => {
    const linked = figures.drawn.get(name).dataset.linked, axes = new Set();
    for (const trace of spec.data) {
      if ((trace.meta || {}).runs) { trace.customdata = trace.meta.runs.flatMap(([stop, points]) => Array(points).fill(stop)); }
      const numbers = stopsOf(trace);
      if (!numbers) { continue; }
      if (trace.meta.stops) {
        trace.customdata = numbers.map((stop) => trace.meta.fields.map((field) => {
          const own = stops.value(stop, field);
          return typeof own === "string" ? plain(own) : own;
        }));
      }
      if ((trace.mode || "").includes("markers")) {
        axes.add(trace.yaxis || "y");
        if (linked) { trace.unselected = { marker: { opacity: 0.12 } }; }
      }
    }
    for (const axis of axes) {
      spec.data.push({ x: [], y: [], yaxis: axis, mode: "markers", name: "chosen stop", hoverinfo: "skip", showlegend: false, cliponaxis: false,
        meta: { ring: true }, marker: { symbol: "circle-open", size: 17, color: RING, line: { width: 3, color: RING } } });
    }
    if (linked) { spec.layout.dragmode = "select"; spec.layout.selectionrevision = name; }
  });

  function ring(node) {
    const chosen = stops.chosen(), places = [], x = [], y = [];
    node.data.forEach((trace, place) => {
      if (!(trace.meta || {}).ring) { return; }
      const found = [[], []];
      for (const other of node.data) {
        const numbers = chosen === null || (other.yaxis || "y") !== (trace.yaxis || "y") || !(other.mode || "").includes("markers") ? null : stopsOf(other);
        const at = numbers ? numbers.indexOf(chosen) : -1;
        if (at >= 0) { found[0].push(other.x[at]); found[1].push(other.y[at]); }
      }
      places.push(place); x.push(found[0]); y.push(found[1]);
    });
    if (places.length) { Plotly.restyle(node, { x, y }, places); }
  }

  function fade(node) {
    if (!node.dataset.linked) { return; }
    const selection = stops.selection(), places = [], points = [];
    node.data.forEach((trace, place) => {
      const numbers = (trace.mode || "").includes("markers") ? stopsOf(trace) : null;
      if (!numbers) { return; }
      places.push(place);
      points.push(selection ? numbers.reduce((kept, stop, at) => { if (selection.has(stop)) { kept.push(at); } return kept; }, []) : null);
    });
    if (places.length) { Plotly.restyle(node, { selectedpoints: points }, places); }
  }

  // Plots in view first; the others when the page has nothing else to do.
  const later = window.requestIdleCallback || ((act) => setTimeout(act, 60));
  function everywhere(act) {
    for (const node of figures.drawn.values()) {
      if (!node.dataset.ready) { continue; }
      const place = node.getBoundingClientRect();
      if (place.bottom > 0 && place.top < innerHeight) { act(node); } else { later(() => act(node)); }
    }
  }

  let boxing = null;
  figures.followed.push((name, node) => {
    node.on("plotly_click", (event) => {
      for (const point of event.points) {
        const numbers = stopsOf(point.data);
        if (numbers && Number.isInteger(numbers[point.pointIndex])) { stops.choose(numbers[point.pointIndex]); return; }
      }
    });
    if (node.dataset.linked) {
      node.on("plotly_selected", (event) => {
        if (!event || !event.points) { return; }
        const found = new Set();
        for (const point of event.points) {
          const numbers = stopsOf(point.data);
          if (numbers) { found.add(numbers[point.pointIndex]); }
        }
        if (!found.size) { return; }
        const before = boxing;
        boxing = node;
        if (before && before !== node) { Plotly.relayout(before, { selections: [] }); }
        stops.boxed(found);
      });
      node.on("plotly_deselect", () => { if (boxing === node) { boxing = null; stops.boxed(null); } });
    }
    if (stops.chosen() !== null) { ring(node); }
    if (stops.selection()) { fade(node); }
  });

  // The stop's own traces come first: a ring draws its whole plot again.
  let asked = 0;
  stops.onChosen(() => { clearTimeout(asked); asked = setTimeout(() => everywhere(ring), 80); });
  stops.onSelection((selection) => {
    if (!selection && boxing) { Plotly.relayout(boxing, { selections: [] }); boxing = null; }
    everywhere(fade);
  });
  return { stopsOf };
})();
