// A form with data-live="ID" asks its page again whenever something changes
// and replaces the element #ID by the answer's, leaving the form, its focus
// and the place on the page alone. An older answer never replaces a newer. An
// answer with a data-again in it is not the last: it is asked for again, until
// one comes without.
export function live(root: Document): void {
  for (const form of root.querySelectorAll<HTMLFormElement>("form[data-live]")) watch(root, form);
}

const pauseMs = 120; // between the last key and the question

function watch(root: Document, form: HTMLFormElement): void {
  const id = form.dataset.live ?? "";
  let timer = 0;
  let asked: AbortController | undefined;

  const ask = async () => {
    asked?.abort();
    const mine = (asked = new AbortController());
    const url = new URL(form.action);
    url.search = new URLSearchParams(pairs(form)).toString();
    root.getElementById(id)?.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(url, { signal: mine.signal, headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById(id);
      const old = root.getElementById(id);
      if (mine.signal.aborted) return;
      if (!fresh || !old) return form.submit();
      const focus = old.contains(root.activeElement) ? root.activeElement?.id : "";
      old.replaceWith(root.adoptNode(fresh));
      marks(page, form);
      if (focus) root.getElementById(focus)?.focus();
      history.replaceState(null, "", url);
      if (fresh.querySelector("[data-again]")) timer = window.setTimeout(ask, pauseMs);
    } catch (e) {
      if (!mine.signal.aborted) {
        root.getElementById(id)?.removeAttribute("aria-busy");
        form.submit();
      }
    }
  };

  if (root.getElementById(id)?.querySelector("[data-again]")) timer = window.setTimeout(ask, pauseMs);
  form.addEventListener("input", () => {
    clearTimeout(timer);
    timer = window.setTimeout(ask, pauseMs);
  });
  form.addEventListener("submit", (e) => {
    if (e.submitter?.hasAttribute("formmethod")) return; // a button that does something else with it
    e.preventDefault();
    clearTimeout(timer);
    void ask();
  });
}

// marks puts beside each answer of the form what the fresh page says is wrong
// with it; what was typed stays.
function marks(page: Document, form: HTMLFormElement): void {
  for (const own of form.querySelectorAll<HTMLElement>(".field [id][name]")) {
    const theirs = page.getElementById(own.id), box = own.closest(".field");
    if (!theirs || !box) continue;
    for (const name of ["aria-invalid", "aria-describedby"]) {
      const value = theirs.getAttribute(name);
      if (value === null) own.removeAttribute(name);
      else own.setAttribute(name, value);
    }
    const error = theirs.closest(".field")?.querySelector(".error"), was = box.querySelector(".error");
    box.classList.toggle("bad", !!error);
    if (error && was) was.replaceWith(error);
    else if (error) box.querySelector(".answer")?.before(error);
    else was?.remove();
  }
}

function pairs(form: HTMLFormElement): [string, string][] {
  const all: [string, string][] = [];
  new FormData(form).forEach((value, key) => {
    if (typeof value === "string") all.push([key, value]);
  });
  return all;
}
