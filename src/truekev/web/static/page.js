"use strict";
// Small helps for pages that also work without this script.

// A form whose results follow its inputs.
for (const form of document.querySelectorAll("form[data-follow]")) {
  const target = document.getElementById(form.dataset.target);
  let timer = 0, turn = 0;
  const follow = async () => {
    const mine = ++turn;
    target.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(form.dataset.follow, { method: "POST", body: new FormData(form) });
      const text = await answer.text();
      if (mine === turn && answer.ok) {
        const page = new DOMParser().parseFromString(text, "text/html");
        target.replaceChildren(...page.body.childNodes);
      }
    } catch { /* the server is gone: the results stay as they are, the button tells more */ }
    if (mine === turn) target.removeAttribute("aria-busy");
  };
  form.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(follow, 500); });
}

// A place onto which files can be dropped.
for (const place of document.querySelectorAll(".drop")) {
  const field = place.querySelector("input[type=file]");
  for (const kind of ["dragenter", "dragover"]) {
    place.addEventListener(kind, (event) => { event.preventDefault(); place.classList.add("over"); });
  }
  place.addEventListener("dragleave", () => place.classList.remove("over"));
  place.addEventListener("drop", (event) => {
    event.preventDefault();
    place.classList.remove("over");
    if (event.dataTransfer.files.length) field.files = event.dataTransfer.files;
  });
}

// Work under way.
for (const place of document.querySelectorAll("[data-work]")) {
  const bar = place.querySelector("progress"), words = place.querySelector("[data-words]");
  const ask = async () => {
    try {
      const found = await (await fetch(place.dataset.work)).json();
      bar.value = found.share;
      if (words.textContent !== found.what) words.textContent = found.what;
      if (found.state !== "running") { location.reload(); return; }
    } catch { /* ask again */ }
    setTimeout(ask, 700);
  };
  setTimeout(ask, 500);
}

// Readings that come while the page is open: from another hand, or from a logger.
for (const place of document.querySelectorAll("[data-newest]")) {
  const look = async () => {
    try {
      const found = await (await fetch(place.dataset.newest)).json();
      if (String(found.newest) !== place.dataset.seen) {
        const text = await (await fetch(location.pathname)).text();
        const fresh = new DOMParser().parseFromString(text, "text/html").getElementById(place.id);
        place.replaceChildren(...fresh.childNodes);
        place.dataset.seen = fresh.dataset.seen;
      }
    } catch { /* ask again */ }
    setTimeout(look, 5000);
  };
  setTimeout(look, 5000);
}
