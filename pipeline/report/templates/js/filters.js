// The filters above the plots: purposes as buttons; block, use and finding as lists; how many stops are left.
stopsheet.filters = (function () {
  const { stops } = stopsheet;
  const form = document.getElementById("filters");
  const buttons = [...form.querySelectorAll("[data-purpose]")], lists = [...form.querySelectorAll("select")];
  const count = document.getElementById("selected-count"), clear = document.getElementById("clear-selection");
  const number = document.getElementById("stop-number");
  form.hidden = false;

  for (const list of lists) {
    const named = stops.texts[list.name].filter((text) => list.name !== "findings" || text);
    for (const text of named) { list.add(new Option(list.name === "findings" ? text.replace(/_/g, " ") : text, text)); }
    list.closest("label").hidden = !named.length;
    list.addEventListener("change", () => stops.filter(list.name, list.value));
  }
  buttons.forEach((button) => button.addEventListener("click", () => stops.filter("purpose", button.dataset.purpose)));
  clear.addEventListener("click", () => stops.clear());
  number.addEventListener("change", () => {
    const stop = Number(number.value);
    if (stops.has(stop)) { stops.choose(stop); } else { count.textContent = `There is no stop ${number.value}.`; }
  });

  stops.onSelection((selection) => {
    buttons.forEach((button) => button.setAttribute("aria-pressed", String(stops.filters.purpose.has(button.dataset.purpose))));
    lists.forEach((list) => { list.value = stops.filters[list.name]; });
    clear.disabled = !selection;
    count.textContent = selection ? `${selection.size} of ${stops.columns.stop.length} stops selected` : `${stops.columns.stop.length} stops`;
  });
  // The address may name a selection, as a link from another page does: #select:use=in%20the%20map
  function fromAddress() {
    const asked = /^#select:(.*)$/.exec(location.hash);
    if (!asked) { return; }
    stops.clear();
    for (const [name, wanted] of new URLSearchParams(asked[1])) {
      if (stops.texts[name] && stops.texts[name].includes(wanted)) { stops.filter(name, wanted); } else { count.textContent = `There is no ${name} “${wanted}”.`; }
    }
  }
  window.addEventListener("hashchange", fromAddress);
  form.addEventListener("submit", (event) => event.preventDefault());
  return { begin: fromAddress };
})();
