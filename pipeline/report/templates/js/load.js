"use strict";
// Loads scripts of the results folder: the plotting library, and files of traces. An element made here carries on the trust
// that the content policy has in this script; one in the page's text would not run. A page opened from disk cannot fetch.
const stopsheet = (function () {
  const asked = new Map();

  function load(address) {
    if (!asked.has(address)) {
      asked.set(address, new Promise((done, failed) => {
        const node = document.createElement("script");
        node.addEventListener("load", done);
        node.addEventListener("error", () => { asked.delete(address); failed(new Error(address)); });
        node.src = address;
        document.head.append(node);
      }));
    }
    return asked.get(address);
  }

  // Text and still pictures are painted before the library is asked for.
  const library = new Promise((done, failed) => {
    const address = document.querySelector('meta[name="plotting-library"]').content;
    const begin = () => setTimeout(() => load(address).then(done, failed));
    if (document.hidden) { begin(); } else { requestAnimationFrame(begin); }
  });
  library.catch(() => {});  // told where a figure is missed

  const read = (id) => { const node = document.getElementById(id); return node ? JSON.parse(node.textContent) : null; };
  return { load, library, read };
})();
