// The table of all stops: sorted by its heads, reduced to the selection, a row opens its stop. One row takes part in the
// order of the tab key; the arrow keys go from row to row. It waits as text until it is looked at or nothing else is to do:
// thousands of cells would come before the first plot.
stopsheet.table = (function () {
  const { stops } = stopsheet;
  const section = document.getElementById("stops");
  const rows = new Map();
  let table = null, body = null, sorted = "stop", down = false, marked = null;

  function begin() {
    if (table) { return; }
    const kept = section.querySelector("noscript");
    kept.outerHTML = kept.textContent;
    table = document.getElementById("stop-table");
    body = table.tBodies[0];
    for (const row of body.rows) { rows.set(Number(row.dataset.row), row); }
    for (const head of table.tHead.rows[0].cells) {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", () => sort(head.dataset.sort));
    }
    body.addEventListener("click", (event) => {
      const row = event.target.closest("tr");
      if (row && !getSelection().toString()) { stops.choose(Number(row.dataset.row)); }
    });
    body.addEventListener("keydown", moved);
    reduce(stops.selection());
    mark(stops.chosen());
  }

  function sort(name) {
    down = name === sorted ? !down : false;
    sorted = name;
    const rank = (stop) => { const own = stops.value(stop, name); return Array.isArray(own) ? own.join() : own; };
    const order = [...rows.keys()].sort((a, b) => {
      const x = rank(a), y = rank(b);
      if (x === null || y === null) { return (x === null) - (y === null) || a - b; }  // what is not given comes last
      return (x < y ? -1 : x > y ? 1 : 0) * (down ? -1 : 1) || a - b;
    });
    body.append(...order.map((stop) => rows.get(stop)));
    for (const head of table.tHead.rows[0].cells) {
      head.setAttribute("aria-sort", head.dataset.sort === name ? (down ? "descending" : "ascending") : "none");
    }
    tabStop();
  }

  let stopOfTab = null;
  function tabStop(row = rows.get(stops.chosen()) || [...body.rows].find((one) => !one.hidden)) {
    if (stopOfTab) { stopOfTab.tabIndex = -1; }
    stopOfTab = row || null;
    if (stopOfTab) { stopOfTab.tabIndex = 0; }
  }

  function moved(event) {
    const row = event.target.closest("tr");
    if (event.key === "Enter") { stops.choose(Number(row.dataset.row)); }
    const step = { ArrowDown: "nextElementSibling", ArrowUp: "previousElementSibling" }[event.key];
    if (!step) { return; }
    event.preventDefault();
    let other = row[step];
    while (other && other.hidden) { other = other[step]; }
    if (other) { tabStop(other); other.focus(); }
  }

  function reduce(selection) {
    for (const [stop, row] of rows) { row.hidden = Boolean(selection && !selection.has(stop)); }
    tabStop();
  }

  function mark(stop) {
    if (marked) { marked.removeAttribute("aria-current"); }
    marked = rows.get(stop) || null;
    if (marked) { marked.setAttribute("aria-current", "true"); tabStop(); }
  }

  stops.onSelection((selection) => { if (table) { reduce(selection); } });
  stops.onChosen((stop) => { if (table) { mark(stop); } });
  window.addEventListener("beforeprint", begin);
  stopsheet.figures.idle.push(begin);
  const seen = new IntersectionObserver((entries) => {
    if (entries.some((entry) => entry.isIntersecting)) { seen.disconnect(); begin(); }
  });
  seen.observe(section);
})();
