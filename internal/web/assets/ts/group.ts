// The host's page of a group session: rows that move, forms that answer
// without leaving the page.
import { told, unheard } from "./told";

interface Line { id: string; name: string; watts: string; words: string; step: string; lost: string }

const lostAfterMs = 3000;

export function group(root: Document): void {
  const page = root.querySelector<HTMLElement>("[data-group]");
  if (!page) return;
  let heard = Date.now();
  const source = new EventSource(`/group/${page.dataset.group}/live`);
  source.onmessage = (e) => {
    heard = Date.now();
    for (const line of JSON.parse(e.data) as Line[]) show(page, line);
  };
  window.setInterval(() => {
    const gone = page.querySelector<HTMLElement>("[data-gone]");
    if (gone) gone.hidden = Date.now() - heard < lostAfterMs;
  }, 500);
  for (const form of page.querySelectorAll<HTMLFormElement>("form")) {
    form.addEventListener("submit", async (e) => {
      e.preventDefault();
      const body = new URLSearchParams();
      new FormData(form).forEach((value, key) => typeof value === "string" && body.append(key, value));
      try {
        const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" } });
        const { why } = (await answer.json()) as { why: string };
        told(page, form, why, "Done.");
        if (!why) form.querySelector<HTMLInputElement>("input[name=text]")?.form?.reset();
      } catch {
        told(page, undefined, unheard, "");
      }
    });
  }
}

function show(page: HTMLElement, line: Line): void {
  const row = page.querySelector<HTMLElement>(`[data-id="${CSS.escape(line.id)}"]`);
  if (!row) return;
  for (const cell of row.querySelectorAll<HTMLElement>("[data-y]")) {
    const text = String((line as unknown as Record<string, unknown>)[cell.dataset.y ?? ""] ?? "");
    if (cell.textContent !== text) cell.textContent = text;
  }
  row.classList.toggle("lost", line.lost !== "");
}
