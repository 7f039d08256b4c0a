// A ride's page: every number and word comes ready from the program, twice a
// second or more; this puts it in its place, draws the strip, makes sounds and
// takes keys. Losing the page, or the program losing it, changes nothing.
import { Strip, drawStrip, moveStrip } from "./strip";
import { Sound } from "./sound";

interface Gauge { you: number; low: number; high: number; words: string }
interface Notice { id: string; words: string; urgent: boolean }
interface Sensor { id: string; name: string; health: string; words: string; offset: boolean; spin: boolean }
interface View {
  [key: string]: unknown;
  stage: string; gauge: Gauge | null; left: number; at: number; plan: number; cue: number;
  notices: Notice[] | null; sensors: Sensor[] | null; found: Sensor[] | null; stop: string; trouble: string; you: string; clock: string;
}

const lostAfterMs = 2500;

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
  private seen = new Set<string>();
  private first = true;
  private cue = -1;
  private lastTrace = 0;
  private sound: Sound;

  constructor(private root: Document, private page: HTMLElement, private path: string) {
    this.sound = new Sound(page.querySelector<HTMLButtonElement>("[data-sound]"));
  }

  start(): void {
    this.draw();
    if (this.page.hasAttribute("data-canned")) return;
    const source = new EventSource(this.path + "/live");
    source.onmessage = (e) => {
      this.heard = Date.now();
      this.show(JSON.parse(e.data) as View, source);
    };
    window.setInterval(() => this.watch(), 500);
    this.keys();
    this.missing();
    this.full();
    void this.awake();
    this.root.addEventListener("visibilitychange", () => void this.awake());
  }

  // draw is the first paint, from what came with the page.
  private draw(): void {
    const road = this.page.querySelector<SVGSVGElement>("[data-strip]");
    if (!road || !road.dataset.first) return;
    this.strip = JSON.parse(road.dataset.first) as Strip;
    drawStrip(road, this.strip);
    moveStrip(road, this.strip, Number(road.dataset.at), NaN, false);
    for (const f of this.page.querySelectorAll<HTMLElement>("[data-when]")) f.hidden = !(f.dataset.when ?? "").split(" ").includes(this.page.dataset.stage ?? "");
    const gauge = this.page.querySelector<SVGSVGElement>("[data-gauge]");
    if (gauge?.dataset.first) this.gauge(JSON.parse(gauge.dataset.first) as Gauge);
  }

  private watch(): void {
    const gone = this.page.querySelector<HTMLElement>("[data-gone]");
    if (gone) gone.hidden = Date.now() - this.heard < lostAfterMs;
  }

  private show(v: View, source: EventSource): void {
    if (v.stage === "ended") {
      source.close();
      location.reload();
      return;
    }
    for (const e of this.page.querySelectorAll<HTMLElement>("[data-x]")) {
      const text = String(v[e.dataset.x ?? ""] ?? "");
      if (e.textContent !== text) e.textContent = text;
      if (e.matches(".stop, .trouble, .said")) e.hidden = text === "";
    }
    for (const e of this.page.querySelectorAll<HTMLElement>("[data-x-parent]")) e.hidden = !v[e.dataset.xParent ?? ""];
    this.page.dataset.stage = v.stage;
    for (const f of this.page.querySelectorAll<HTMLElement>("[data-when]")) f.hidden = !(f.dataset.when ?? "").split(" ").includes(v.stage);
    const connect = this.page.querySelector<HTMLElement>("[data-connect]");
    if (connect) connect.hidden = v.stage !== "waiting";
    this.gauge(v.gauge);
    const left = this.page.querySelector<HTMLProgressElement>("[data-left]");
    if (left) left.value = v.left;
    this.sensors(v.sensors ?? [], v.found ?? []);
    this.notices(v);
    if (v.plan !== this.plan || Date.now() - this.lastTrace > 60000) void this.fetchStrip(v.plan);
    const road = this.page.querySelector<SVGSVGElement>("[data-strip]");
    if (road && this.strip) moveStrip(road, this.strip, v.at, Number(v.you), v.stage === "riding");
    if (v.cue !== this.cue && this.cue >= 0 && v.stage === "riding") this.sound.cue();
    this.cue = v.cue;
    this.first = false;
  }

  private gauge(g: Gauge | null): void {
    const svg = this.page.querySelector<SVGSVGElement>("[data-gauge]");
    const words = this.page.querySelector<HTMLElement>("[data-x=off]");
    if (words) words.textContent = g ? g.words : "";
    if (!svg) return;
    if (!g) {
      svg.replaceChildren();
      return;
    }
    if (svg.childElementCount === 0) {
      for (const [name, cls] of [["path", "axis"], ["rect", "keep"], ["circle", "me"]]) {
        const e = this.root.createElementNS("http://www.w3.org/2000/svg", name);
        e.setAttribute("class", cls);
        svg.append(e);
      }
    }
    const wide = svg.clientWidth || 400;
    svg.setAttribute("viewBox", `0 0 ${wide} 34`);
    const [axis, keep, me] = svg.children;
    const x = (share: number) => 12 + share * (wide - 24);
    axis.setAttribute("d", `M0 17H${wide}`);
    keep.setAttribute("x", String(x(g.low) - 9));
    keep.setAttribute("y", "5");
    keep.setAttribute("height", "24");
    keep.setAttribute("rx", "12");
    keep.setAttribute("width", String(x(g.high) - x(g.low) + 18));
    me.setAttribute("cx", String(x(g.you)));
    me.setAttribute("cy", "17");
    me.setAttribute("r", "10");
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
      li.className = s.health;
      li.append(words);
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
    if (v.stop) this.sound.urgent();
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
    } catch {
      this.plan = -1; // asked for again with the next view
    }
  }

  private async send(form: HTMLFormElement): Promise<void> {
    const body = new URLSearchParams();
    new FormData(form).forEach((value, key) => typeof value === "string" && body.append(key, value));
    await this.ask(body);
  }

  private async ask(body: URLSearchParams): Promise<void> {
    const says = this.page.querySelector<HTMLElement>("[data-answer]");
    try {
      const answer = await fetch(this.path + "/key", { method: "POST", body, headers: { Accept: "application/json" } });
      const told = (await answer.json()) as { why: string };
      if (says) says.textContent = told.why;
    } catch {
      if (says) says.textContent = "That did not reach the program. Try again.";
    }
  }

  private keys(): void {
    let twice = 0;
    const says = this.page.querySelector<HTMLElement>("[data-answer]");
    const forms = [...this.page.querySelectorAll<HTMLFormElement>(".keys form")];
    const go = (form: HTMLFormElement) => {
      if (form.hasAttribute("data-twice") && Date.now() - twice > 5000) {
        twice = Date.now();
        if (says) says.textContent = "Once more to end the ride.";
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
      if (e.ctrlKey || e.metaKey || e.altKey || at.matches("input, select, textarea") || (at.matches("button, a, summary") && (e.key === " " || e.key === "Enter"))) return;
      if (e.key === "m") return this.sound.toggle();
      if (e.key === "f") return this.page.querySelector<HTMLButtonElement>("[data-full]")?.click();
      const form = forms.find((f) => f.dataset.key === e.key.toLowerCase() && !f.hidden);
      if (!form) return;
      e.preventDefault();
      go(form);
    });
  }

  private missing(): void {
    const form = this.page.querySelector<HTMLFormElement>("[data-missing]");
    const says = this.page.querySelector<HTMLElement>("[data-step]");
    if (!form || !says) return;
    let tried: number[] = [];
    form.addEventListener("change", () => (tried = []));
    form.addEventListener("submit", async (e) => {
      e.preventDefault();
      const kind = new FormData(form).get("kind");
      const answer = await fetch(`${this.path}/missing?kind=${kind}&tried=${tried.join(",")}`);
      const step = (await answer.json()) as { cause?: number; do: string; why?: string };
      if (step.cause) tried.push(step.cause);
      says.textContent = step.do + (step.why ? " " + step.why : "");
      const button = form.querySelector("button");
      if (button) button.textContent = "That did not help";
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

  // A screen that sleeps is asked not to, while the page is seen.
  private async awake(): Promise<void> {
    const lock = (navigator as unknown as { wakeLock?: { request(kind: string): Promise<unknown> } }).wakeLock;
    if (!lock || this.root.visibilityState !== "visible") return;
    await lock.request("screen").catch(() => undefined); // where it is not allowed the screen sleeps as it is set to
  }
}
