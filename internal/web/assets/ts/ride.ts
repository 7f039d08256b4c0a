// A ride's page: every number and word comes ready from the program, twice a
// second or more; this puts it in its place, draws the strip, makes sounds and
// takes keys. Losing the page, or the program losing it, changes nothing.
import { Strip, drawStrip, moveStrip } from "./strip";
import { Sound } from "./sound";
import { Company, onStrip, thread } from "./dots";
import { show as showCompany } from "./together";
import { told, unheard } from "./told";

interface Gauge { you: number; low: number; high: number }
interface Notice { id: string; words: string; urgent: boolean }
interface Sensor { id: string; name: string; health: string; words: string; offset: boolean; spin: boolean }
interface View {
  [key: string]: unknown;
  stage: string; gauge: Gauge | null; left: number; at: number; plan: number; cue: number; in_s: number; big: string;
  notices: Notice[] | null; sensors: Sensor[] | null; found: Sensor[] | null; stop: string; trouble: string; you: string; clock: string;
  company: Company | null;
}

const lostAfterMs = 2000;
const againMs = 2000; // between attempts to find a program that went away
const twiceMs = 5000; // within which an end has to be asked for once more

export function ride(root: Document): void {
  const page = root.querySelector<HTMLElement>("[data-ride]");
  if (!page) return;
  const id = page.dataset.ride ?? "";
  new Page(root, page, "/ride/" + id).start();
}

class Page {
  private strip: Strip | undefined;
  private plan = -1;
  private heard = Date.now();
  private tried = 0;
  private asking = false; // whether to end, for a few seconds
  private seen = new Set<string>();
  private first = true;
  private cue = -1;
  private count = 0;
  private stage = "";
  private lastTrace = 0;
  private view: View | undefined;
  private source: EventSource | undefined;
  private sound: Sound;

  constructor(private root: Document, private page: HTMLElement, private path: string) {
    this.sound = new Sound(page.querySelector<HTMLButtonElement>("[data-sound]"));
    this.stage = page.dataset.stage ?? "";
  }

  start(): void {
    this.draw();
    new ResizeObserver(() => this.draw()).observe(this.page);
    this.help();
    this.full();
    if (this.page.hasAttribute("data-canned")) return;
    this.listen();
    window.setInterval(() => this.watch(), 250);
    this.keys();
    this.missing();
    void this.awake();
    this.root.addEventListener("visibilitychange", () => void this.awake());
  }

  private listen(): void {
    this.source?.close();
    this.source = new EventSource(this.path + "/live");
    this.source.onmessage = (e) => {
      this.heard = Date.now();
      this.show(JSON.parse(e.data) as View);
    };
  }

  // draw is the first paint, from what came with the page, and again whenever
  // the room for it changes.
  private draw(): void {
    const road = this.page.querySelector<SVGSVGElement>("[data-strip]");
    if (!road || !road.dataset.first) return;
    this.strip ??= JSON.parse(road.dataset.first) as Strip;
    drawStrip(road, this.strip);
    if (this.view) moveStrip(road, this.strip, this.view.at, this.view.cue, Number(this.view.you), false);
    else moveStrip(road, this.strip, Number(road.dataset.at), Number(road.dataset.cue), Number(this.page.querySelector("[data-x=you]")?.textContent), false);
    this.company(this.view ? this.view.company : undefined);
    const gauge = this.page.querySelector<SVGSVGElement>("[data-gauge]");
    if (this.view) this.gauge(this.view.gauge);
    else if (gauge?.dataset.first) this.gauge(JSON.parse(gauge.dataset.first) as Gauge);
  }

  // watch says at once that nothing was heard. The browser connects again by
  // itself, unless it was answered that there is no such ride: then the page
  // is asked, which knows what came of it.
  private watch(): void {
    const silent = Date.now() - this.heard >= lostAfterMs;
    const gone = this.page.querySelector<HTMLElement>("[data-gone]");
    if (gone && gone.hidden === silent) {
      gone.hidden = !silent;
      if (silent) this.sound.notice();
    }
    this.page.classList.toggle("stale", silent);
    if (silent && this.source?.readyState === EventSource.CLOSED && Date.now() - this.tried > againMs) {
      this.tried = Date.now();
      fetch(this.path, { headers: { Accept: "text/html" } }).then((answer) => (answer.ok ? location.reload() : this.listen()), () => this.listen());
    }
  }

  private show(v: View): void {
    if (v.stage === "ended") {
      this.source?.close();
      location.reload();
      return;
    }
    this.view = v;
    for (const e of this.page.querySelectorAll<HTMLElement>("[data-x]")) {
      const text = String(v[e.dataset.x ?? ""] ?? "");
      if (e.textContent !== text) e.textContent = text;
      if (e.matches(".shout")) e.hidden = text === "" || (e.matches(".trouble") && v.stop !== "");
    }
    for (const e of this.page.querySelectorAll<HTMLElement>("[data-x-parent]")) e.hidden = !v[e.dataset.xParent ?? ""];
    this.staged(v);
    this.gauge(v.gauge);
    const left = this.page.querySelector<HTMLProgressElement>("[data-left]");
    if (left) left.value = v.left;
    this.sensors(v.sensors ?? [], v.found ?? []);
    this.notices(v);
    if (v.plan !== this.plan || Date.now() - this.lastTrace > (this.strip?.kind === "free" ? 10000 : 60000)) void this.fetchStrip(v.plan);
    const road = this.page.querySelector<SVGSVGElement>("[data-strip]");
    if (road && this.strip) moveStrip(road, this.strip, v.at, v.cue, Number(v.you), v.stage === "riding");
    this.company(v.company);
    this.count321(v);
    if (v.cue !== this.cue && this.cue >= 0 && v.stage === "riding") this.sound.cue();
    this.cue = v.cue;
    this.first = false;
  }

  // company is everybody of a live group: on the strip, on the thread of seconds
  // and in words. Without a view it is what came with the page.
  private company(c: Company | null | undefined): void {
    const box = this.page.querySelector<HTMLElement>("[data-company]");
    if (!box) return;
    if (c === null) { // the host has ended the group
      for (const e of this.page.querySelectorAll<HTMLElement>("[data-company], .phrases")) e.hidden = true;
      this.page.querySelector("[data-strip] .others")?.remove();
      return;
    }
    c ??= box.dataset.first ? (JSON.parse(box.dataset.first) as Company) : null;
    if (!c) return;
    showCompany(this.root.body, c);
    const road = this.page.querySelector<SVGSVGElement>("[data-strip]"), line = box.querySelector<SVGSVGElement>("[data-thread]");
    if (road && this.strip) onStrip(road, this.strip, c, 5.5);
    if (line) thread(line, c);
  }

  // staged shows what belongs to the stage. The list of sensors stands open
  // until the start and may be opened by whoever wants to later.
  private staged(v: View): void {
    this.page.toggleAttribute("data-counting", v.stage === "waiting" && v.big !== "");
    if (v.stage === this.stage && !this.first) return;
    const connect = this.page.querySelector<HTMLDetailsElement>("[data-connect]");
    if (connect && v.stage !== this.stage) connect.open = v.stage === "waiting";
    if (this.stage === "waiting" && v.stage === "riding") this.sound.cue();
    this.stage = this.page.dataset.stage = v.stage;
    for (const f of this.page.querySelectorAll<HTMLElement>("[data-when]")) f.hidden = !(f.dataset.when ?? "").split(" ").includes(v.stage);
  }

  private count321(v: View): void {
    const n = v.stage === "riding" || v.stage === "waiting" ? Math.ceil(v.in_s) : 0;
    if (n >= 1 && n <= 3 && n !== this.count) this.sound.tick();
    this.count = n;
  }

  private gauge(g: Gauge | null): void {
    const svg = this.page.querySelector<SVGSVGElement>("[data-gauge]");
    if (!svg) return;
    if (!g) return svg.replaceChildren();
    if (svg.childElementCount === 0) {
      for (const [name, cls] of [["path", "axis"], ["rect", "keep"], ["circle", "me"]]) {
        const e = this.root.createElementNS("http://www.w3.org/2000/svg", name);
        e.setAttribute("class", cls);
        svg.append(e);
      }
    }
    const wide = svg.clientWidth || 400, high = svg.clientHeight || 34, r = high * 0.36;
    svg.setAttribute("viewBox", `0 0 ${wide} ${high}`);
    const [axis, keep, me] = svg.children;
    const x = (share: number) => r + 2 + share * (wide - 2 * r - 4);
    const set = (e: Element, all: Record<string, number | string>) => { for (const [k, v] of Object.entries(all)) e.setAttribute(k, String(v)); };
    set(axis, { d: `M0 ${high / 2}H${wide}` });
    set(keep, { x: x(g.low) - r * 0.9, y: 2, height: high - 4, rx: high / 2 - 2, width: x(g.high) - x(g.low) + r * 1.8 });
    set(me, { cx: x(g.you), cy: high / 2, r });
  }

  private sensors(all: Sensor[], found: Sensor[]): void {
    this.list("[data-sensors]", all, (s) => {
      const wishes: [string, string][] = [];
      if (s.offset) wishes.push(["zero", "Set its zero"]);
      if (s.spin) wishes.push(["spin-down", "Spin it down"]);
      wishes.push(["forget", "Forget it"]);
      return [s.words, wishes];
    });
    this.list("[data-found]", found, (s) => [s.name + " is heard.", [["connect", "Connect"]]]);
  }

  // list redraws a list of devices with what can be asked of each.
  private list(where: string, all: Sensor[], say: (s: Sensor) => [string, [string, string][]]): void {
    const list = this.page.querySelector<HTMLElement>(where);
    const was = all.map((s) => s.id + s.health + s.words + s.offset + s.spin).join("|");
    if (!list || list.dataset.was === was || (all.length === 0 && where === "[data-sensors]")) return;
    list.dataset.was = was;
    list.replaceChildren(...all.map((s) => {
      const li = this.root.createElement("li");
      const [words, wishes] = say(s);
      li.className = s.health || "heard";
      const says = this.root.createElement("span");
      says.className = "says";
      says.textContent = words;
      li.append(says);
      for (const [key, label] of wishes) {
        const button = this.root.createElement("button");
        button.type = "button";
        if (key !== "connect") button.className = "quiet";
        button.textContent = label;
        button.addEventListener("click", () => void this.ask(new URLSearchParams({ key, text: s.id })));
        li.append(" ", button);
      }
      return li;
    }));
  }

  private notices(v: View): void {
    const list = this.page.querySelector<HTMLElement>("[data-notices]");
    const all = v.notices ?? [];
    const fresh = all.filter((n) => !this.seen.has(n.id));
    for (const n of fresh) this.seen.add(n.id);
    if (fresh.length > 0 && !this.first) {
      if (fresh.some((n) => n.urgent)) this.sound.urgent();
      else this.sound.notice();
    }
    if (v.stop) this.sound.urgent(); // until it is over
    const shown = all.map((n) => n.id).join("|");
    if (!list || list.dataset.was === shown) return;
    list.dataset.was = shown;
    list.replaceChildren(...all.slice(-2).map((n) => {
      const li = this.root.createElement("li");
      if (n.urgent) li.className = "urgent";
      li.textContent = n.words;
      return li;
    }));
  }

  private async fetchStrip(plan: number): Promise<void> {
    this.plan = plan;
    this.lastTrace = Date.now();
    try {
      const answer = await fetch(this.path + "/strip", { headers: { Accept: "application/json" } });
      if (!answer.ok) return;
      this.strip = (await answer.json()) as Strip;
      const road = this.page.querySelector<SVGSVGElement>("[data-strip]");
      if (road) drawStrip(road, this.strip);
      const v = this.view;
      if (road && v) moveStrip(road, this.strip, v.at, v.cue, Number(v.you), false);
    } catch {
      this.plan = -1; // asked for again with the next view
    }
  }

  private async send(form: HTMLFormElement): Promise<void> {
    const body = new URLSearchParams();
    new FormData(form).forEach((value, key) => typeof value === "string" && body.append(key, value));
    if (!(await this.ask(body, form))) return;
    for (const input of form.querySelectorAll<HTMLInputElement>("input[type=text]")) {
      input.value = "";
      input.blur();
    }
  }

  // ask is whether what was asked for was done.
  private async ask(body: URLSearchParams, form?: HTMLFormElement): Promise<boolean> {
    try {
      const answer = await fetch(this.path + "/key", { method: "POST", body, headers: { Accept: "application/json" } });
      const { why } = (await answer.json()) as { why: string };
      if (!this.asking) told(this.page, form, why, body.get("key") === "phrase" ? "Said to the group." : "");
      return !why;
    } catch {
      told(this.page, undefined, unheard, "");
      return false;
    }
  }

  private keys(): void {
    const says = this.page.querySelector<HTMLElement>("[data-answer]");
    const forms = [...this.page.querySelectorAll<HTMLFormElement>(".keys form")];
    const go = (form: HTMLFormElement) => {
      if (form.hasAttribute("data-twice") && !this.asking) {
        this.asking = true; // a late answer to another key does not wipe the question off
        const button = form.querySelector("button"), label = button?.firstChild;
        if (says) says.textContent = "Once more to end the ride.";
        if (label) label.textContent = "Once more to end ";
        window.setTimeout(() => {
          this.asking = false;
          if (label) label.textContent = "End ";
          if (says?.textContent === "Once more to end the ride.") says.textContent = "";
        }, twiceMs);
        return;
      }
      void this.send(form);
    };
    for (const form of forms) {
      form.addEventListener("submit", (e) => {
        e.preventDefault();
        go(form);
      });
    }
    this.root.addEventListener("keydown", (e) => {
      const at = e.target as HTMLElement;
      if (e.key === "Escape") at.blur();
      if (e.repeat || e.ctrlKey || e.metaKey || e.altKey || at.matches("input, select, textarea") || (at.matches("button, a, summary") && (e.key === " " || e.key === "Enter"))) return;
      const key = e.key.toLowerCase();
      if (key === "m") return this.sound.toggle();
      if (key === "f") return this.page.querySelector<HTMLButtonElement>("[data-full]")?.click();
      const connect = this.page.querySelector<HTMLDetailsElement>("[data-connect]");
      if (key === "d" && connect) return void (connect.open = !connect.open);
      const field = this.page.querySelector<HTMLInputElement>(`[data-focus="${CSS.escape(key)}"]`);
      const form = forms.find((f) => f.dataset.key === key && !f.hidden);
      if (!form && !field?.offsetParent) return;
      e.preventDefault();
      if (form) go(form);
      else field?.focus();
    });
  }

  // help is the list of keys, read off the buttons themselves.
  private help(): void {
    const box = this.page.querySelector<HTMLDialogElement>("[data-help]"), list = this.page.querySelector<HTMLElement>("[data-help-list]");
    const button = this.page.querySelector<HTMLButtonElement>("[data-help-open]");
    if (!box || !list || !button) return;
    button.hidden = false;
    const open = () => {
      if (box.open) return box.close();
      const rows: [string, string][] = [];
      for (const kbd of this.page.querySelectorAll(".keys kbd, .connect kbd")) {
        const of = kbd.parentElement;
        const hidden = of?.closest<HTMLElement>("[hidden]");
        const words = of?.tagName === "SUMMARY" ? "Sensors" : (of?.firstChild?.textContent ?? "").trim();
        if (of && !hidden) rows.push([kbd.textContent ?? "", words]);
      }
      list.replaceChildren(...rows.flatMap(([key, words]) => {
        const dt = this.root.createElement("dt"), dd = this.root.createElement("dd"), kbd = this.root.createElement("kbd");
        kbd.textContent = key;
        dt.append(kbd);
        dd.textContent = words;
        return [dt, dd];
      }));
      box.showModal();
    };
    button.addEventListener("click", open);
    this.root.addEventListener("keydown", (e) => {
      if (e.key === "?" && !(e.target as HTMLElement).matches("input, select, textarea")) open();
    });
  }

  private missing(): void {
    const form = this.page.querySelector<HTMLFormElement>("[data-missing]");
    const says = this.page.querySelector<HTMLElement>("[data-step]");
    const button = form?.querySelector("button");
    if (!form || !says || !button) return;
    let tried: number[] = [];
    form.addEventListener("change", () => {
      tried = [];
      says.textContent = "";
      button.textContent = "What now?";
    });
    form.addEventListener("submit", async (e) => {
      e.preventDefault();
      const kind = new FormData(form).get("kind");
      try {
        const answer = await fetch(`${this.path}/missing?kind=${kind}&tried=${tried.join(",")}`);
        const step = (await answer.json()) as { cause?: number; do: string; why?: string };
        if (step.cause) tried.push(step.cause);
        else tried = [];
        const does = this.root.createElement("strong");
        does.textContent = step.do;
        says.replaceChildren(does, " " + (step.why ?? ""));
        button.textContent = step.cause ? "That did not help" : "From the beginning";
      } catch {
        says.textContent = "That did not reach the program. Try again.";
      }
    });
  }

  private full(): void {
    const button = this.page.querySelector<HTMLButtonElement>("[data-full]");
    if (!button || !this.root.documentElement.requestFullscreen) return;
    button.hidden = false;
    button.addEventListener("click", () => {
      if (this.root.fullscreenElement) void this.root.exitFullscreen();
      else void this.root.documentElement.requestFullscreen().catch(() => undefined);
    });
  }

  // A screen that sleeps is asked not to, while the page is seen. Where a
  // browser cannot be asked, the page says so.
  private async awake(): Promise<void> {
    if (this.root.visibilityState !== "visible") return;
    const says = this.page.querySelector<HTMLElement>("[data-awake]");
    const lock = (navigator as unknown as { wakeLock?: { request(kind: string): Promise<EventTarget> } }).wakeLock;
    try {
      if (!lock) throw new Error("no wake lock");
      const held = await lock.request("screen");
      held.addEventListener("release", () => window.setTimeout(() => void this.awake(), againMs), { once: true });
      if (says) says.hidden = true;
    } catch {
      if (says) says.hidden = false;
    }
  }
}
