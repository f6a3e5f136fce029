// Draws each figure when it comes into view; until then, in print and without this script its still picture stands there.
stopsheet.figures = (function () {
  const specs = stopsheet.read("figures") || {};
  const completed = [];  // called with (name, spec) before a figure is drawn
  const followed = [];  // called with (name, node) once it is
  const idle = [];  // what waits until the first plots stand
  const drawn = new Map();
  const BUTTONS_FROM_PX = 340;  // a lower figure has no buttons: they would lie on its points
  // No button sends the figure to a server or opens it there: the data are confidential.
  const config = { responsive: true, displaylogo: false, showTips: false, showSendToCloud: false, showEditInChartStudio: false,
    plotlyServerURL: "", showLink: false, linkText: "", toImageButtonOptions: { format: "svg" },
    modeBarButtonsToRemove: ["select2d", "lasso2d", "autoScale2d"] };
  const linked = { ...config, modeBarButtonsToRemove: ["lasso2d", "autoScale2d"] };

  function draw(node) {
    const name = node.dataset.figure, spec = specs[name];
    if (!spec || drawn.has(name) || typeof Plotly === "undefined") { return undefined; }
    drawn.set(name, node);
    completed.forEach((act) => act(name, spec));
    if (innerWidth < 600) {  // names would lie on each other; the pictures' texts tell them
      spec.layout.annotations = spec.data.length ? [] : spec.layout.annotations;
      spec.layout.margin = { ...spec.layout.margin, l: 48, r: 14, t: 14 };
      config.displayModeBar = linked.displayModeBar = false;
    }
    node.closest("figure").classList.add("drawn");
    const own = node.dataset.linked ? linked : config, bare = !spec.data.length || spec.layout.height < BUTTONS_FROM_PX;
    return Plotly.newPlot(node, spec.data, spec.layout, bare ? { ...own, displayModeBar: false } : own).then(() => {
      node.dataset.ready = "yes";
      followed.forEach((act) => act(name, node));
    });
  }

  // One after the other, so that the first can be seen and clicked before the next is begun.
  const due = [];
  let busy = false;
  function drawNext() {
    if (busy || !due.length) { return; }
    busy = true;
    Promise.resolve(draw(due.shift())).finally(() => setTimeout(() => { busy = false; drawNext(); }, 20));
  }

  // A still picture waits as text where it is not the first: for print, or until its figure can be drawn.
  function still(figure) {
    const kept = figure.querySelector("noscript");
    if (kept) { kept.outerHTML = kept.textContent; }
  }

  const later = window.requestIdleCallback || ((act) => setTimeout(act, 100));
  function whenIdle(acts) {
    later(() => {
      if (!busy && !due.length) { acts.shift()(); }
      if (acts.length) { whenIdle(acts); }
    });
  }

  function watched(nodes, act) {
    const seen = new IntersectionObserver((entries) => {
      for (const entry of entries) { if (entry.isIntersecting) { seen.unobserve(entry.target); act(entry.target); } }
    });
    nodes.forEach((node) => seen.observe(node));
    return seen;
  }

  function begin() {
    const nodes = [...document.querySelectorAll(".plot")], figures = nodes.map((node) => node.closest("figure"));
    const early = watched(figures, still);
    stopsheet.library.then(() => {
      early.disconnect();
      watched(nodes, (node) => { due.push(node); drawNext(); });
    }, () => nodes.forEach((node) => {
      const words = document.createElement("p");
      words.className = "note lacking";
      words.textContent = "To be drawn, this plot needs the folder assets/ of the results; copy the whole folder, not the page alone.";
      node.append(words);
    })).then(() => setTimeout(() => whenIdle([...idle, ...figures.map((figure) => () => still(figure))]), 300));
    window.addEventListener("beforeprint", () => nodes.forEach((node, place) => {
      still(figures[place]);
      if (figures[place].querySelector(".still")) { return; }
      draw(node);
      if (node.data) { Plotly.Plots.resize(node); }
    }));
  }

  if (document.readyState === "loading") { document.addEventListener("DOMContentLoaded", begin); } else { begin(); }
  return { specs, config, drawn, completed, followed, idle };
})();
