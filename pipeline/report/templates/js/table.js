// The table of all stops: sorted by its heads, reduced to the selection, a row opens its stop. One row takes part in the
// order of the tab key; the arrow keys go from row to row.
stopsheet.table = (function () {
  const { stops } = stopsheet;
  const table = document.getElementById("stop-table"), body = table.tBodies[0];
  const rows = new Map([...body.rows].map((row) => [Number(row.dataset.row), row]));
  let sorted = "stop", down = false;

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

  function tabStop() {
    const first = rows.get(stops.chosen()) || [...body.rows].find((row) => !row.hidden);
    for (const row of rows.values()) { if (row.tabIndex !== -1) { row.tabIndex = -1; } }
    if (first) { first.tabIndex = 0; }
  }

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
  body.addEventListener("keydown", (event) => {
    const row = event.target.closest("tr");
    if (event.key === "Enter") { stops.choose(Number(row.dataset.row)); }
    const step = { ArrowDown: "nextElementSibling", ArrowUp: "previousElementSibling" }[event.key];
    if (!step) { return; }
    event.preventDefault();
    let other = row[step];
    while (other && other.hidden) { other = other[step]; }
    if (other) { row.tabIndex = -1; other.tabIndex = 0; other.focus(); }
  });

  stops.onSelection((selection) => {
    for (const [stop, row] of rows) { row.hidden = Boolean(selection && !selection.has(stop)); }
    tabStop();
  });
  let marked = null;
  stops.onChosen((stop) => {
    if (marked) { marked.removeAttribute("aria-current"); }
    marked = rows.get(stop) || null;
    if (marked) { marked.setAttribute("aria-current", "true"); tabStop(); }
  });
  tabStop();
})();
