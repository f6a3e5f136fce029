"use strict";
// The table of tests: reduced by filters, sorted by its heads or the list, cut to the first rows until all are asked for.
// The table is complete as text; without this script it stands worst first.
(function () {
  const FIRST = 50;  // as in the style sheet, which spares the layout of the others until this script has hidden them
  const TONES = ["unusable", "bad", "open", "good"];
  const form = document.getElementById("test-filters"), table = document.getElementById("test-table");
  if (!form || !table) { return; }
  const body = table.tBodies[0], more = document.getElementById("more-tests"), count = document.getElementById("test-count");
  const heads = [...table.tHead.rows[0].cells];
  const part = (row, name) => { const node = row.querySelector(`[data-is="${name}"]`); return node ? node.textContent : ""; };
  const rows = [...body.rows].filter((row) => row.dataset.state).map((row, place) => ({
    row, place, state: row.dataset.state, test: part(row, "test"), compound: part(row, "compound"), batch: part(row, "batch"),
    rig: part(row, "rig"), date: part(row, "date"), drift: row.dataset.drift || "", text: row.cells[0].textContent.toLowerCase(),
  }));
  const compare = new Intl.Collator("en", { numeric: true }).compare;
  let sorted = "worst", down = false, all = false;

  // Verdicts in the order of their tone, then of their words; a test without the verdict comes last.
  function ofVerdict(one, column) {
    const cell = one.row.cells[column], mark = cell && cell.querySelector(".mark");
    return mark ? [TONES.findIndex((tone) => mark.classList.contains(tone)), cell.textContent.trim()] : null;
  }

  function sort(name, turned) {
    sorted = name;
    down = turned;
    const column = heads.findIndex((head) => head.dataset.sort === name);
    const verdict = column >= 0 && heads[column].dataset.kind === "verdict";
    const keys = new Map(rows.map((one) => [one, verdict ? ofVerdict(one, column) : name === "worst" ? [one.place, ""] : [0, one[name]]]));
    const given = (key) => key !== null && (key[1] !== "" || name === "worst");
    rows.sort((a, b) => {
      const x = keys.get(a), y = keys.get(b);
      if (!given(x) || !given(y)) { return given(y) - given(x) || a.place - b.place; }
      return (x[0] - y[0] || compare(x[1], y[1])) * (down ? -1 : 1) || a.place - b.place;
    });
    body.append(...rows.map((one) => one.row));
    for (const head of heads) {
      if (head.dataset.sort) { head.setAttribute("aria-sort", head.dataset.sort === name ? (down ? "descending" : "ascending") : "none"); }
    }
    form.elements.sort.value = [...form.elements.sort.options].some((one) => one.value === name) ? name : "";
    reduce();
  }

  function passes(one) {
    const own = form.elements;
    return ["state", "compound", "batch", "rig", "drift"].every((name) => !own[name].value || one[name] === own[name].value)
      && (!own.from.value || (one.date && one.date >= own.from.value)) && (!own.until.value || (one.date && one.date <= own.until.value))
      && one.text.includes(own.text.value.trim().toLowerCase());
  }

  function reduce() {
    let found = 0;
    for (const one of rows) {
      const kept = passes(one);
      found += kept;
      one.row.hidden = !kept || (!all && found > FIRST);
    }
    const shown = all ? found : Math.min(found, FIRST);
    count.textContent = `${found === rows.length ? "" : `${found} of `}${rows.length} tests${shown < found ? `, the first ${shown} shown` : ""}`;
    more.hidden = shown === found;
    more.textContent = `Show all ${found}`;
    for (const chip of document.querySelectorAll("[data-show]")) { chip.setAttribute("aria-pressed", String(form.elements.state.value === chip.dataset.show)); }
  }

  function offer(name) {
    const list = form.elements[name], named = [...new Set(rows.map((one) => one[name]).filter(Boolean))];
    if (name !== "state") { named.sort(compare); }
    for (const text of named) { list.add(new Option(text, text)); }
    list.closest("label").hidden = named.length < 2;
  }

  ["state", "compound", "batch", "rig", "drift"].forEach(offer);
  for (const head of heads) {
    if (!head.dataset.sort) { continue; }
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => sort(head.dataset.sort, sorted === head.dataset.sort && !down));
  }
  for (const chip of document.querySelectorAll("[data-show]")) {
    chip.disabled = false;
    chip.addEventListener("click", () => {
      form.elements.state.value = form.elements.state.value === chip.dataset.show ? "" : chip.dataset.show;
      reduce();
    });
  }
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("input", (event) => {
    if (event.target.name === "sort") { if (event.target.value) { sort(event.target.value, event.target.value === "date"); } } else { reduce(); }
  });
  form.addEventListener("reset", () => setTimeout(() => { all = false; sort("worst", false); }));
  more.addEventListener("click", () => { all = true; reduce(); });
  let before = null;  // print shows every row that the filters keep
  window.addEventListener("beforeprint", () => { if (before === null) { before = all; all = true; reduce(); } });
  window.addEventListener("afterprint", () => { if (before !== null) { all = before; before = null; reduce(); } });
  form.hidden = false;
  sort("worst", false);
  table.classList.add("ready");
})();
