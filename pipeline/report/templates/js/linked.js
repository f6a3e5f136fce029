// Plots of stops: all answer a click by choosing the stop, ring the chosen one, and those that are linked share the selection.
stopsheet.linked = (function () {
  const { stops, figures } = stopsheet;
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
    const linked = figures.drawn.get(name).dataset.linked;
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
      if (linked && (trace.mode || "").includes("markers")) { trace.unselected = { marker: { opacity: 0.12 } }; }
    }
    if (linked) { spec.layout.dragmode = "select"; spec.layout.selectionrevision = name; }
  });

  // Rings lie over the plot and are no part of it: to draw one, a plot of a thousand points is not drawn again.
  function ring(node) {
    node.querySelectorAll(".ring").forEach((old) => old.remove());
    const chosen = stops.chosen(), layout = node._fullLayout;
    if (chosen === null || !layout) { return; }
    for (const trace of node.data) {
      const numbers = (trace.mode || "").includes("markers") ? stopsOf(trace) : null;
      const at = numbers ? numbers.indexOf(chosen) : -1;
      if (at < 0) { continue; }
      const across = layout.xaxis, up = layout[`yaxis${(trace.yaxis || "y").slice(1)}`];
      const x = across.d2p(trace.x[at]), y = up.d2p(trace.y[at]);
      if (!(x >= 0 && x <= across._length && y >= 0 && y <= up._length)) { continue; }  // zoomed away, or no such value
      const mark = document.createElement("span");
      mark.className = "ring";
      Object.assign(mark.dataset, { x: trace.x[at], y: trace.y[at] });
      mark.style.left = `${across._offset + x}px`;
      mark.style.top = `${up._offset + y}px`;
      node.append(mark);
    }
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
    node.on("plotly_afterplot", () => ring(node));  // zoomed, or its window made narrower
    ring(node);
    if (stops.selection()) { fade(node); }
  });

  stops.onChosen(() => everywhere(ring));
  stops.onSelection((selection) => {
    if (!selection && boxing) { Plotly.relayout(boxing, { selections: [] }); boxing = null; }
    everywhere(fade);
  });
  return { stopsOf };
})();
