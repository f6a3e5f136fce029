// Draws each figure when it comes into view; until then, in print and without this script its still picture stands there.
stopsheet.figures = (function () {
  const specs = stopsheet.read("figures") || {};
  const completed = [];  // called with (name, spec) before a figure is drawn
  const followed = [];  // called with (name, node) once it is
  const drawn = new Map();
  // No button sends the figure to a server or opens it there: the data are confidential.
  const config = { responsive: true, displaylogo: false, showTips: false, showSendToCloud: false, showEditInChartStudio: false,
    plotlyServerURL: "", showLink: false, linkText: "", toImageButtonOptions: { format: "svg" },
    modeBarButtonsToRemove: ["select2d", "lasso2d", "autoScale2d"] };
  const linked = { ...config, modeBarButtonsToRemove: ["lasso2d", "autoScale2d"] };

  function draw(node) {
    const name = node.dataset.figure, spec = specs[name];
    if (!spec || drawn.has(name) || typeof Plotly === "undefined") { return; }
    drawn.set(name, node);
    completed.forEach((act) => act(name, spec));
    if (innerWidth < 600) {  // names would lie on each other; the pictures' texts tell them
      spec.layout.annotations = spec.data.length ? [] : spec.layout.annotations;
      spec.layout.margin = { ...spec.layout.margin, l: 48, r: 14, t: 14 };
      config.displayModeBar = linked.displayModeBar = false;
    }
    node.closest("figure").classList.add("drawn");
    Plotly.newPlot(node, spec.data, spec.layout, node.dataset.linked ? linked : config).then(() => {
      node.dataset.ready = "yes";
      followed.forEach((act) => act(name, node));
    });
  }

  function begin() {
    const nodes = [...document.querySelectorAll(".plot")];
    stopsheet.library.then(() => {
      const seen = new IntersectionObserver((entries) => {
        for (const entry of entries) {
          if (entry.isIntersecting) { seen.unobserve(entry.target); draw(entry.target); }
        }
      }, { rootMargin: "200px" });
      nodes.forEach((node) => seen.observe(node));
    }, () => nodes.forEach((node) => {
      const words = document.createElement("p");
      words.className = "note lacking";
      words.textContent = "To be drawn, this plot needs the folder assets/ of the results; copy the whole folder, not the page alone.";
      node.append(words);
    }));
    window.addEventListener("beforeprint", () => nodes.forEach((node) => {
      const still = node.closest("figure").querySelector(".still");
      if (!still) { draw(node); }
      if (!still && node.data) { Plotly.Plots.resize(node); }
    }));
  }

  if (document.readyState === "loading") { document.addEventListener("DOMContentLoaded", begin); } else { begin(); }
  return { specs, config, drawn, completed, followed };
})();
