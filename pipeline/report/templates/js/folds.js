// Folded parts: a link into one opens it, and all are open in print (findings of a kind stay one row).
stopsheet.folds = (function () {
  const all = [...document.querySelectorAll("main details.part")];
  function reveal() {
    const target = location.hash.length > 1 ? document.getElementById(decodeURIComponent(location.hash.slice(1))) : null;
    for (let node = target; node; node = node.parentElement) { if (node.tagName === "DETAILS") { node.open = true; } }
    if (target) { target.scrollIntoView(); }
  }
  document.addEventListener("click", (event) => {
    const link = event.target.closest('a[href^="#"]');
    if (link && link.hash === location.hash) { reveal(); }
  });
  window.addEventListener("hashchange", reveal);
  let closed = [];
  window.addEventListener("beforeprint", () => { closed = all.filter((node) => !node.open); closed.forEach((node) => { node.open = true; }); });
  window.addEventListener("afterprint", () => closed.forEach((node) => { node.open = false; }));
  reveal();
})();
