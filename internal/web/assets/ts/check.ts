// The guided page of a rig check: every word comes ready from the program;
// this puts it in its place, draws the last two minutes of each source's
// watts, and sends keys without leaving the page.
interface Source { name: string; watts: number; words: string }
interface Device { id: string; name: string; offset: boolean; spin: boolean }
interface Moment { t: number; w: number[]; a: number }
interface View {
  [key: string]: unknown;
  stage: string; guide: { words: string; share: number }; sources: Source[] | null; found: Device[] | null; zero: Device[] | null;
  resting: boolean; stop: string; asked: number; t: number;
}

const lostAfterMs = 3000;
const tapeS = 120;
const wide = 800, high = 220;

export function check(root: Document): void {
  const page = root.querySelector<HTMLElement>("[data-check]");
  if (!page || page.hasAttribute("data-canned")) return;
  new Guided(page, page.dataset.check ?? "").start();
}

class Guided {
  private heard = Date.now();
  private tape: Moment[] = [];

  constructor(private page: HTMLElement, private id: string) {
    try {
      this.tape = JSON.parse(page.dataset.tape || "[]") as Moment[];
    } catch {
      this.tape = [];
    }
  }

  start(): void {
    const source = new EventSource(`/ride/${this.id}/check/live`);
    source.onmessage = (e) => {
      this.heard = Date.now();
      const v = JSON.parse(e.data) as View;
      if (v.stage === "ended") {
        source.close();
        this.page.querySelector<HTMLFormElement>("[data-report]")?.submit();
        return;
      }
      this.show(v);
    };
    window.setInterval(() => {
      const gone = Date.now() - this.heard > lostAfterMs;
      this.page.classList.toggle("stale", gone);
      const says = this.page.querySelector<HTMLElement>("[data-gone]");
      if (says) says.hidden = !gone;
    }, 500);
    this.page.addEventListener("submit", (e) => void this.key(e));
  }

  private show(v: View): void {
    this.page.dataset.stage = v.stage;
    for (const el of this.page.querySelectorAll<HTMLElement>("[data-y]")) {
      const name = el.dataset.y ?? "";
      const text = name === "even" ? v.guide.words : String(v[name] ?? "");
      if (el.textContent !== text) el.textContent = text;
      if (name === "stop") el.hidden = text === "";
    }
    const bar = this.page.querySelector<HTMLProgressElement>("[data-share]");
    if (bar) bar.value = v.guide.share;
    for (const el of this.page.querySelectorAll<HTMLElement>("[data-in]")) el.hidden = !(el.dataset.in ?? "").split(" ").includes(v.stage);
    this.numbers(v.sources ?? []);
    this.buttons("[data-found]", v.found ?? [], (d) => [["connect", `Connect ${d.name}`]]);
    const zero = this.page.querySelector<HTMLElement>("[data-zero]");
    if (zero) zero.hidden = !v.resting;
    this.buttons("[data-zero]", v.zero ?? [], (d) => {
      const keys: [string, string][] = [];
      if (d.offset) keys.push(["zero", `Set the zero of ${d.name}`]);
      if (d.spin) keys.push(["spin-down", `Spin down ${d.name}`]);
      return keys;
    });
    const last = this.tape[this.tape.length - 1];
    if (v.stage === "riding" && (!last || v.t - last.t >= 0.9)) {
      this.tape.push({ t: v.t, w: (v.sources ?? []).map((s) => (s.words === "–" ? -1 : s.watts)), a: v.asked });
      while (this.tape.length && this.tape[0].t < v.t - tapeS) this.tape.shift();
      this.draw();
    }
  }

  private numbers(sources: Source[]): void {
    const place = this.page.querySelector<HTMLElement>("[data-sources]");
    if (!place) return;
    while (place.children.length > sources.length) place.lastElementChild?.remove();
    sources.forEach((s, i) => {
      let p = place.children[i];
      if (!p) {
        p = document.createElement("p");
        for (const c of ["label", "n", "unit"]) {
          const span = document.createElement("span");
          span.className = c;
          if (c === "unit") p.append(" ");
          p.append(span);
        }
        place.append(p);
      }
      const put = (c: string, text: string) => {
        const span = p.querySelector(`.${c}`);
        if (span && span.textContent !== text) span.textContent = text;
      };
      put("label", s.name);
      put("n", s.words);
      put("unit", "W");
    });
  }

  private buttons(where: string, devices: Device[], keys: (d: Device) => [string, string][]): void {
    const place = this.page.querySelector<HTMLElement>(where);
    const text = JSON.stringify(devices.map((d) => [d.id, keys(d)]));
    if (!place || place.dataset.shown === text) return;
    place.dataset.shown = text;
    place.replaceChildren(
      ...devices.flatMap((d) =>
        keys(d).map(([key, label]) => {
          const form = document.createElement("form");
          form.method = "post";
          form.action = `/ride/${this.id}/check/key`;
          form.dataset.checkKey = "";
          for (const [name, value] of [["key", key], ["text", d.id]]) {
            const input = document.createElement("input");
            input.type = "hidden";
            input.name = name;
            input.value = value;
            form.append(input);
          }
          const button = document.createElement("button");
          button.textContent = label;
          form.append(button);
          return form;
        }),
      ),
    );
  }

  private draw(): void {
    const svg = this.page.querySelector<SVGElement>("[data-tape]");
    if (!svg || !this.tape.length) return;
    const end = this.tape[this.tape.length - 1].t;
    const top = 50 * Math.ceil((1.05 * Math.max(100, ...this.tape.map((m) => Math.max(m.a, ...m.w)))) / 50);
    const most = this.page.querySelector<HTMLElement>("[data-most]");
    if (most) most.textContent = `${top} W`;
    const x = (t: number) => ((wide * (t - end + tapeS)) / tapeS).toFixed(1);
    const y = (w: number) => (high - (high * w) / top).toFixed(1);
    const line = (of: (m: Moment) => number) => {
      let d = "", pen = false;
      for (const m of this.tape) {
        const w = of(m);
        if (!(w >= 0)) {
          pen = false;
          continue;
        }
        d += `${pen ? "L" : "M"}${x(m.t)} ${y(w)}`;
        pen = true;
      }
      return d;
    };
    const n = Math.max(...this.tape.map((m) => m.w.length));
    const paths = [["asked", line((m) => (m.a > 0 ? m.a : -1))]];
    for (let i = 0; i < n; i++) paths.push([`s${i % 4}`, line((m) => m.w[i] ?? -1)]);
    svg.replaceChildren(
      ...paths.map(([c, d]) => {
        const p = document.createElementNS("http://www.w3.org/2000/svg", "path");
        p.setAttribute("class", c);
        p.setAttribute("d", d);
        return p;
      }),
    );
  }

  private async key(e: SubmitEvent): Promise<void> {
    const form = e.target as HTMLFormElement;
    if (!form.matches("[data-check-key]")) return;
    e.preventDefault();
    const body = new URLSearchParams();
    new FormData(form).forEach((value, key) => typeof value === "string" && body.append(key, value));
    const says = this.page.querySelector<HTMLElement>("[data-answer]");
    try {
      const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" } });
      const told = (await answer.json()) as { why: string };
      if (says) says.textContent = told.why;
    } catch {
      if (says) says.textContent = "That did not reach the program. Try again.";
    }
  }
}
