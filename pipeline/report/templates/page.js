"use strict";
(function () {
  const read = (id) => { const node = document.getElementById(id); return node ? JSON.parse(node.textContent) : null; };
  const figures = read("figures") || {};
  const curves = read("curves") || {};
  // No button sends the figure to a server or opens it there: the data are confidential.
  const config = { responsive: true, displaylogo: false, showTips: false, showSendToCloud: false, showEditInChartStudio: false,
    plotlyServerURL: "", showLink: false, linkText: "",
    toImageButtonOptions: { format: "svg" }, modeBarButtonsToRemove: ["select2d", "lasso2d", "autoScale2d"] };

  if (typeof Plotly === "undefined") {
    document.querySelectorAll(".plot").forEach((node) => {
      node.textContent = "This plot needs the file assets/plotly.min.js of the results folder; copy the whole folder, not the page alone.";
    });
    return;
  }

  function stopOf(point) {  // the field named stop, or nothing: a point without it stands for no single stop
    const fields = (point.data.meta && point.data.meta.fields) || [];
    const place = fields.indexOf("stop");
    if (place < 0) { return undefined; }
    return Array.isArray(point.customdata) ? point.customdata[place] : point.customdata;
  }

  const viewer = document.getElementById("stop-number");
  function show(stop) {
    const found = curves[String(stop)];
    const note = document.getElementById("stop-note");
    if (!viewer || !figures.one_stop) { return; }
    if (!found) { note.textContent = "No trace is kept of stop " + stop + "."; return; }
    viewer.value = stop;
    note.textContent = "";
    const node = document.getElementById("plot-one_stop");
    const order = ["mu", "torque_nm", "pressure_bar", "speed_rpm", "disc_temperature_c"];
    Plotly.restyle(node, { x: order.map(() => found.time_s), y: order.map((name) => found[name]) });
  }

  for (const node of document.querySelectorAll(".plot")) {
    const spec = figures[node.dataset.figure];
    if (!spec) { continue; }
    Plotly.newPlot(node, spec.data, spec.layout, config).then((plot) => {
      plot.on("plotly_click", (event) => {
        const stop = stopOf(event.points[0]);
        if (Number.isInteger(stop)) { show(stop); }
      });
    });
  }
  if (viewer) {
    viewer.addEventListener("change", () => show(viewer.value));
    document.querySelectorAll("[data-stop]").forEach((node) => {
      node.addEventListener("click", () => { show(node.dataset.stop); viewer.scrollIntoView({ block: "start" }); });
    });
    show(viewer.value);
  }
  window.addEventListener("beforeprint", () => {
    document.querySelectorAll(".plot").forEach((node) => { if (node.data) { Plotly.Plots.resize(node); } });
  });
})();
