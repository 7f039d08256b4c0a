// The riders of a live group as dots: on the course's strip where they are,
// and on a thread of seconds under it. A shape says what a colour would:
// filled rides, a diamond left after the gun, open waits, dashed is not heard,
// a square is home; a ring around it is helped by the host.
//
// What drops first where there is no room, in this order: names, then seconds;
// one's own dot never. There are three levels by the width there is: names and
// seconds (wide), seconds (phone), dots alone; and at each of them the riders
// furthest away give way first.
import { across, crest, put, shape, Strip } from "./strip";

export interface Dot {
  key: string; name: string; you: boolean; at: number; s: number; known: boolean; mark: string; helped: boolean;
  gap: string; since: string; says: string; bring: boolean;
}
export interface Company {
  [key: string]: unknown;
  clock: string; count: string; link: string; silent: boolean; keep: boolean;
  ahead: string; ahead_who: string; behind: string; behind_who: string; shelter: string; helped: string;
  dots: Dot[]; left: Dot[]; phrases: { from: string; words: string }[];
}

const namesFrom = 700, secondsFrom = 280; // pixels
const longestName = 16;

interface Box { left: number; right: number; row: number }
interface Spot { dot: Dot; x: number; y: number }

// draw puts one dot.
function draw(into: SVGElement, { dot, x, y }: Spot, r: number): void {
  const g = put(into, "g", `one ${dot.mark}${dot.you ? " own" : ""}`, {});
  if (dot.helped) put(g, "circle", "ring", { cx: x, cy: y, r: r + 4 });
  if (dot.you) put(g, "circle", "", { cx: x, cy: y, r: r * 1.25 });
  else if (dot.mark === "late") put(g, "path", "", { d: `M${x - r * 1.2} ${y}L${x} ${y - r * 1.2}L${x + r * 1.2} ${y}L${x} ${y + r * 1.2}Z` });
  else if (dot.mark === "home") put(g, "rect", "", { x: x - r * 0.9, y: y - r * 0.9, width: r * 1.8, height: r * 1.8 });
  else put(g, "circle", "", { cx: x, cy: y, r });
}

// stacked moves dots that would cover each other apart, by rows above the
// line; one's own stays on it.
function stacked(spots: Spot[], r: number, rows: number): void {
  const done: Spot[] = [];
  const inOrder = [...spots].sort((a, b) => Number(b.dot.you) - Number(a.dot.you) || b.x - a.x);
  for (const s of inOrder) {
    const base = s.y;
    for (let row = 0; row < rows; row++) {
      s.y = base - row * r * 1.9;
      if (!done.some((o) => Math.hypot(o.x - s.x, o.y - s.y) < 2 * r)) break;
    }
    done.push(s);
  }
}

const short = (name: string) => ([...name].length > longestName ? [...name].slice(0, longestName - 1).join("") + "…" : name);

// label writes names and seconds above the dots: of the first of spots first,
// each as much as has room, over the dot or to either side of it.
function label(into: SVGElement, spots: Spot[], ways: (d: Spot) => string[], font: number, wide: number, base: number, top: number): void {
  const boxes: Box[] = [], leaders: { x: number; row: number }[] = [];
  const rows = Math.max(0, Math.floor((base - top) / (font * 1.2)) + 1);
  const place = (s: Spot, text: string): boolean => {
    const e = put(into, "text", "tag" + (s.dot.you ? " own" : ""), { "font-size": font, x: s.x, y: 0 }, text) as SVGTextElement;
    const half = (e.getComputedTextLength?.() || text.length * font * 0.46) / 2 + 4;
    for (let row = 0; row < rows; row++) {
      for (const aside of [0, half * 0.7, -half * 0.7]) {
        const middle = Math.max(half, Math.min(wide - half, s.x + aside)), left = middle - half, right = middle + half;
        const clash = boxes.some((b) => (b.row === row ? left < b.right && right > b.left : b.row < row && s.x > b.left - 1 && s.x < b.right + 1))
          || leaders.some((l) => l.row > row && l.x > left - 1 && l.x < right + 1);
        if (clash) continue;
        const y = base - row * font * 1.2;
        e.setAttribute("x", middle.toFixed(1));
        e.setAttribute("y", y.toFixed(1));
        boxes.push({ left, right, row });
        leaders.push({ x: s.x, row });
        if (s.y - y > font * 1.3) put(into, "path", "leader", { d: `M${s.x.toFixed(1)} ${(y + font * 0.25).toFixed(1)}V${(s.y - font * 0.55).toFixed(1)}` });
        return true;
      }
    }
    e.remove();
    return false;
  };
  for (const s of spots) ways(s).some((text) => text !== "" && place(s, text));
}

// level is what may be written of a rider at a width: the most first.
function level(wide: number, name: string, seconds: string, you: boolean): string[] {
  if (you) return ["you"];
  if (wide >= namesFrom) return [seconds ? `${name} ${seconds}` : name, seconds];
  return wide >= secondsFrom ? [seconds] : [];
}

function fresh(svg: SVGSVGElement, cls: string): SVGElement {
  svg.querySelector("." + cls)?.remove();
  return put(svg, "g", cls, {});
}

// onStrip puts the dots where they are on the course. Where nobody is 'you' (a
// host's page) there is room for names over the hill.
export function onStrip(svg: SVGSVGElement, s: Strip, c: Company, r: number): void {
  if (s.kind !== "course" || !s.hill) return;
  const g = shape(svg, s), x = across(g), top = crest(s, g), own = c.dots.some((d) => d.you);
  const into = fresh(svg, "others");
  into.classList.toggle("pale", c.silent);
  const spots = c.dots.filter((d) => !d.you).map((dot) => ({ dot, x: x(dot.at), y: top(dot.at) }));
  if (!own) {
    const bunches: { first: Spot; more: number }[] = []; // dots that cover each other have one label
    for (const s of spots) {
      const last = bunches[bunches.length - 1];
      if (last && Math.abs(last.first.x - s.x) < 2.2 * r) last.more++;
      else bunches.push({ first: s, more: 0 });
    }
    const more = new Map(bunches.map((b) => [b.first, b.more]));
    const words = (s: Spot) => (g.wide >= namesFrom ? short(s.dot.name) : "") + (more.get(s) ? ` +${more.get(s)}` : "");
    const high = Math.min(...spots.map((p) => p.y), g.hillTop + 20);
    label(into, bunches.map((b) => b.first), (s) => [words(s).trim()], g.font, g.wide, high - r - 8, g.top + g.font);
  }
  for (const spot of spots.reverse()) draw(into, spot, r);
  const rider = svg.querySelector(".rider");
  if (rider) svg.append(rider); // one's own dot is never covered
}

const ticks = [2, 5, 10, 30, 60, 120, 300, 600, 1800];
const tickWords = (s: number) => (s < 60 ? `${s} s` : `${s / 60} min`);

// thread draws the seconds between: whoever is 'you' stands in the middle, or
// else the first at its right end, where on the strip they ride to. It is
// finer near that end than far from it, and its ticks say so.
export function thread(svg: SVGSVGElement, c: Company): void {
  svg.replaceChildren();
  const moving = c.dots.filter((d) => d.known && ["riding", "late", "silent", "home"].includes(d.mark));
  svg.toggleAttribute("data-empty", moving.length < 2);
  if (moving.length < 2) return;
  put(svg, "g", "", {});
  const wide = Math.max(200, svg.clientWidth), high = Math.max(60, svg.clientHeight);
  svg.setAttribute("viewBox", `0 0 ${wide} ${high}`);
  svg.classList.toggle("pale", c.silent);
  const own = moving.some((d) => d.you), font = Math.max(14, Math.min(20, wide / 46)), r = Math.max(5, font * 0.42), edge = r * 1.6 + 4;
  const most = Math.max(10, ...moving.map((d) => Math.abs(d.s)));
  const share = (s: number) => Math.sign(s) * Math.sqrt(Math.min(1, Math.abs(s) / most));
  const x = own ? (s: number) => wide / 2 - share(s) * (wide / 2 - edge) : (s: number) => wide - edge - Math.max(0, share(s)) * (wide - 2 * edge);
  const axis = high - font * 1.9 - (own ? 0 : r);
  put(svg, "path", "chain", { d: `M${edge} ${axis}H${wide - edge}` });
  scale(svg, own, most, x, axis, font, wide);
  const spots = moving.map((dot) => ({ dot, x: x(dot.s), y: axis }));
  stacked(spots, r, 4);
  const nearest = [...spots].sort((a, b) => Number(b.dot.you) - Number(a.dot.you) || Math.abs(a.dot.s) - Math.abs(b.dot.s));
  const seconds = (d: Dot) => (own ? d.gap.replace(/ (ahead|behind)$/, "") : d.since);
  label(svg, nearest, ({ dot }) => level(wide, short(dot.name), seconds(dot), dot.you), font, wide, Math.min(...spots.map((s) => s.y)) - r - 6, font);
  for (const spot of nearest.reverse()) draw(svg, spot, r); // own dot last: never covered
}

function scale(svg: SVGSVGElement, own: boolean, most: number, x: (s: number) => number, axis: number, font: number, wide: number): void {
  let last = own ? wide / 2 : x(0);
  for (const t of ticks.filter((n) => n <= most)) {
    if (last - x(t) < font * 3.2 || x(t) < font) continue;
    last = x(t);
    for (const at of own ? [t, -t] : [t]) {
      put(svg, "path", "notch", { d: `M${x(at).toFixed(1)} ${axis + font * 0.75}V${axis + font * 0.95}` });
      put(svg, "text", "tick", { x: Math.max(font * 1.4, Math.min(wide - font * 1.4, x(at))), y: axis + font * 1.75, "font-size": font * 0.82 }, tickWords(t));
    }
  }
}
