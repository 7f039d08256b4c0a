// The pages of a live group course: the host's, the guest's before the ride,
// and the group's part of a ride's page. Every word comes ready from the
// program; this puts it in its place and draws the dots.
import { Company, Dot, onStrip, thread } from "./dots";
import { Strip, drawStrip } from "./strip";
import { told, unheard } from "./told";

const lostAfterMs = 3000;

// show puts a company's words where they belong below an element.
export function show(page: HTMLElement, c: Company): void {
  for (const e of page.querySelectorAll<HTMLElement>("[data-c]")) {
    const text = String(c[e.dataset.c ?? ""] ?? "");
    if (e.textContent !== text) e.textContent = text;
    if (e.hasAttribute("data-c-or-none")) e.hidden = text === "";
  }
  page.querySelector("[data-link]")?.classList.toggle("lost", c.silent);
  lines(page, c);
}

// lines is the list front to back: rows are kept and moved, so that nothing
// one is about to press goes away.
function lines(page: HTMLElement, c: Company): void {
  const list = page.querySelector<HTMLElement>("[data-file]");
  if (!list) return;
  const all = [...c.dots, ...c.left];
  const rows = all.map((d) => row(list, d));
  if (rows.some((r, i) => list.children[i] !== r) || list.childElementCount !== rows.length) list.replaceChildren(...rows);
}

function row(list: HTMLElement, d: Dot): HTMLElement {
  let li = list.querySelector<HTMLElement>(`[data-rider="${CSS.escape(d.key)}"]`);
  if (!li) {
    li = (list.parentElement?.querySelector<HTMLTemplateElement>("template[data-row]")?.content.firstElementChild?.cloneNode(true) ?? document.createElement("li")) as HTMLElement;
    li.dataset.rider = d.key;
    for (const b of li.querySelectorAll<HTMLButtonElement>("button[name=to]")) b.value = d.key;
  }
  const cls = `is-${d.mark}${d.you ? " own" : ""}${d.helped ? " helped" : ""}${d.since ? "" : " close"}`;
  if (li.className !== cls) li.className = cls;
  const words: Record<string, string> = { name: d.name + (d.you ? " (you)" : ""), since: d.since, says: [d.gap, d.says].filter(Boolean).join(", ") };
  for (const e of li.querySelectorAll<HTMLElement>("[data-d]")) {
    const text = words[e.dataset.d ?? ""] ?? "";
    if (e.textContent !== text) e.textContent = text;
  }
  for (const form of li.querySelectorAll<HTMLElement>("[data-bring]")) form.hidden = !d.bring;
  return li;
}

export function together(root: Document): void {
  const page = root.querySelector<HTMLElement>("[data-together]");
  if (!page) return;
  const road = page.querySelector<SVGSVGElement>("[data-strip]"), line = page.querySelector<SVGSVGElement>("[data-thread]");
  const strip = road?.dataset.first ? (JSON.parse(road.dataset.first) as Strip) : undefined;
  let now = JSON.parse(page.dataset.first ?? "null") as Company | null;
  const draw = () => {
    if (!now) return;
    if (road && strip) {
      if (!road.querySelector(".crest")) drawStrip(road, strip);
      onStrip(road, strip, now, 6);
    }
    if (line) thread(line, now);
  };
  const whole = () => {
    if (road && strip) drawStrip(road, strip);
    draw();
  };
  if (now) show(page, now);
  whole();
  new ResizeObserver(whole).observe(page);
  copying(page);
  if (page.hasAttribute("data-canned")) return;
  let heard = Date.now(), leaving = false;
  page.addEventListener("submit", (e) => { leaving ||= !(e.target as HTMLElement).hasAttribute("data-stay"); });
  const source = new EventSource(page.dataset.together + "/live");
  source.onmessage = (e) => {
    heard = Date.now();
    const told = JSON.parse(e.data) as { company: Company; state: string };
    if (leaving) return; // the page that is asked for is on its way
    if (told.state !== page.dataset.state) return location.reload(); // other questions to ask
    now = told.company;
    show(page, now);
    for (const e of page.querySelectorAll<HTMLElement>("[data-until-gun]")) e.hidden = now.gone === true;
    phrases(page, now);
    draw();
  };
  window.setInterval(() => {
    const gone = page.querySelector<HTMLElement>("[data-gone]");
    if (gone) gone.hidden = Date.now() - heard < lostAfterMs;
  }, 500);
  for (const form of page.querySelectorAll<HTMLFormElement>("form[data-stay]")) form.addEventListener("submit", (e) => void send(page, form, e as SubmitEvent));
}

// send asks without leaving the page, and says what came of it.
async function send(page: HTMLElement, form: HTMLFormElement, e: SubmitEvent): Promise<void> {
  e.preventDefault();
  const body = new URLSearchParams();
  new FormData(form).forEach((value, key) => typeof value === "string" && body.append(key, value));
  const by = e.submitter as HTMLButtonElement | null;
  if (by?.name) body.append(by.name, by.value);
  try {
    const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" } });
    const { why, done } = (await answer.json()) as { why: string; done: string };
    told(page, form, why, done);
    if (!why) form.querySelector<HTMLInputElement>("input[name=text]")?.form?.reset();
  } catch {
    told(page, undefined, unheard, "");
  }
}

function phrases(page: HTMLElement, c: Company): void {
  const list = page.querySelector<HTMLElement>("[data-phrases]");
  const was = c.phrases.map((p) => p.from + p.words).join("|");
  if (!list || list.dataset.was === was) return;
  list.dataset.was = was;
  list.replaceChildren(...c.phrases.slice(-4).map((p) => {
    const li = document.createElement("li"), from = document.createElement("strong");
    from.textContent = p.from + ":";
    li.append(from, " " + p.words);
    return li;
  }));
}

// copying offers to put the address or the invitation on the clipboard, where
// the browser lets us.
function copying(page: HTMLElement): void {
  for (const button of page.querySelectorAll<HTMLButtonElement>("[data-copy]")) {
    if (!navigator.clipboard) continue;
    button.hidden = false;
    button.addEventListener("click", async () => {
      const says = page.querySelector<HTMLElement>("[data-answer]");
      try {
        await navigator.clipboard.writeText(button.dataset.copy ?? "");
        if (says) says.textContent = "Copied.";
      } catch {
        if (says) says.textContent = "The browser did not let us copy: mark it and copy it by hand.";
      }
    });
  }
}
