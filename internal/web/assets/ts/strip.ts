// The strip of a ride: the same picture as the brief's. A course is a
// silhouette tinted by what is asked, the effort above it and never across it;
// a session is a corridor between two lines. Under it the chainline with its
// beads; over it, in the accent, what was ridden. It is drawn in the pixels
// there are, so that its letters are as large as they should be.
export interface Piece { from: number; to: number; watts: number; end: number; low: number; high: number; tint: number; name: string }
export interface Trace { s: number; m: number; w: number; i: number; t: number }
export interface Strip {
  kind: string; length: number; cp: number; most: number; per: number; unit: string;
  hill?: [number, number][]; pieces: Piece[] | null; trace: Trace[] | null;
}

const gap = 12;
const SVG = "http://www.w3.org/2000/svg";

interface Shape { wide: number; top: number; low: number; hillTop: number; hillLow: number; chain: number; font: number }

export function shape(svg: SVGSVGElement, s: Strip): Shape {
  if (!svg.firstChild) put(svg, "g", "", {}); // an empty strip takes no room
  const wide = Math.max(200, svg.clientWidth), high = Math.max(100, svg.clientHeight);
  const font = Math.max(13, Math.min(24, wide / 76));
  svg.setAttribute("viewBox", `0 0 ${wide} ${high}`);
  const chain = high - font * (s.pieces?.length ? 3.1 : 2.1);
  const low = s.kind === "course" ? chain * (s.pieces?.length ? 0.46 : 0.27) : chain - font * 0.9;
  return { wide, font, chain, top: 8, low, hillTop: low + gap, hillLow: chain - font * 0.75 };
}

export const across = (g: Shape) => (share: number) => 12 + Math.max(0, Math.min(1, share)) * (g.wide - 24);
const up = (g: Shape, s: Strip) => (watts: number) => g.low - (Math.max(0, Math.min(watts, s.most)) / s.most) * (g.low - g.top);

export function put(svg: SVGElement, name: string, cls: string, attrs: Record<string, string | number>, text = ""): SVGElement {
  const e = document.createElementNS(SVG, name);
  if (cls) e.setAttribute("class", cls);
  for (const [k, v] of Object.entries(attrs)) e.setAttribute(k, typeof v === "number" ? v.toFixed(1) : v);
  if (text) e.textContent = text;
  svg.append(e);
  return e;
}

export function drawStrip(svg: SVGSVGElement, s: Strip): void {
  svg.replaceChildren();
  const g = shape(svg, s), pieces = s.pieces ?? [], x = across(g), y = up(g, s);
  if (s.kind === "course" && s.hill) hill(svg, s, g, pieces);
  if (s.kind === "session") corridor(svg, pieces, x, y);
  if (s.kind !== "free" && s.cp > 0) put(svg, "path", "critical", { d: `M${x(0)} ${y(s.cp)}H${x(1)}` });
  if (s.kind === "course" && pieces.length) {
    put(svg, "path", "effort", { d: pieces.map((p, i) => `${i ? "L" : "M"}${x(p.from)} ${y(p.watts)}H${x(p.to)}`).join("") });
  }
  put(svg, "path", "ridden", { d: ridden(s, x, y) });
  if (s.kind === "free") return;
  put(svg, "path", "chain", { d: `M${x(0)} ${g.chain}H${x(1)}` });
  put(svg, "path", "here", { d: "" });
  beads(svg, pieces, g, x);
  scale(svg, s, g, x);
  put(svg, "circle", "rider", { cx: -99, cy: 0, r: 7 });
}

const low = (s: Strip) => Math.min(...(s.hill ?? []).map((p) => p[1]));

// crest is how high the hill stands on the picture.
export function crest(s: Strip, g: Shape): (share: number) => number {
  const points = s.hill ?? [], least = low(s), span = Math.max(30, Math.max(...points.map((p) => p[1])) - least);
  return (share) => {
    let i = points.findIndex((p) => p[0] >= share);
    if (i <= 0) i = i < 0 ? points.length - 1 : 1;
    const [a, b] = [points[i - 1], points[i]];
    const e = a[1] + ((share - a[0]) / Math.max(1e-9, b[0] - a[0])) * (b[1] - a[1]);
    return g.hillLow - 8 - ((e - least) / span) * (g.hillLow - 8 - g.hillTop);
  };
}

function hill(svg: SVGSVGElement, s: Strip, g: Shape, pieces: Piece[]): void {
  const points = s.hill ?? [], x = across(g), top = crest(s, g);
  for (const p of pieces.length ? pieces : [{ from: 0, to: 1, tint: "plain" }]) {
    const edge = [p.from, ...points.map((q) => q[0]).filter((q) => q > p.from && q < p.to), p.to];
    const d = edge.map((q, i) => `${i ? "L" : "M"}${x(q).toFixed(1)} ${top(q).toFixed(1)}`).join("");
    put(svg, "path", "land k" + p.tint, { d: `${d}L${x(p.to)} ${g.hillLow}L${x(p.from)} ${g.hillLow}Z` });
  }
  put(svg, "path", "crest", { d: points.map((q, i) => `${i ? "L" : "M"}${x(q[0]).toFixed(1)} ${top(q[0]).toFixed(1)}`).join("") });
}

// A step is asked for between two lines; nothing is filled by how hard it is.
function corridor(svg: SVGSVGElement, pieces: Piece[], x: (n: number) => number, y: (w: number) => number): void {
  const rise = (p: Piece) => p.end - p.watts;
  const side = (of: (p: Piece) => number) => pieces.map((p, i) => `${i ? "L" : "M"}${x(p.from)} ${y(of(p))}L${x(p.to)} ${y(of(p) + rise(p))}`).join("");
  const over = side((p) => p.high), under = side((p) => p.low);
  const back = [...pieces].reverse().map((p) => `L${x(p.to)} ${y(p.low + rise(p))}L${x(p.from)} ${y(p.low)}`).join("");
  put(svg, "path", "between", { d: over + back + "Z" });
  put(svg, "path", "edge", { d: over });
  put(svg, "path", "edge", { d: under });
}

// Beads, and the watts between those that have room: numbers drop first.
function beads(svg: SVGSVGElement, pieces: Piece[], g: Shape, x: (n: number) => number): void {
  let last = -1e9, lastText = -1e9;
  const r = g.font * 0.62;
  pieces.forEach((p, i) => {
    const at = Math.max(r + 1, x(p.from));
    const next = i + 1 < pieces.length ? x(pieces[i + 1].from) : g.wide;
    if (i > 0 && (at - last < 2 * r + 3 || next - at < 2 * r)) {
      put(svg, "circle", "dot p" + i, { cx: at, cy: g.chain, r: r * 0.35 });
    } else {
      put(svg, "circle", "bead p" + i, { cx: at, cy: g.chain, r });
      put(svg, "text", "no p" + i, { x: at, y: g.chain + g.font * 0.29, "font-size": g.font * 0.82 }, String(i + 1));
      last = at;
    }
    const middle = (x(p.from) + x(p.to)) / 2, room = g.font * 2.2;
    const text = Math.round(p.end) === Math.round(p.watts) ? String(Math.round(p.watts)) : `${Math.round(p.watts)}–${Math.round(p.end)}`;
    const own = room * (text.length > 4 ? 1.9 : 1);
    if (p.watts > 0 && x(p.to) - x(p.from) > own && middle - lastText > own) {
      put(svg, "text", "asked", { x: middle, y: g.chain + g.font * 1.5, "font-size": g.font }, text);
      lastText = middle;
    }
  });
}

// The scale thins itself to round steps that can be read.
function scale(svg: SVGSVGElement, s: Strip, g: Shape, x: (n: number) => number): void {
  const whole = s.length / s.per, most = Math.max(2, Math.floor(g.wide / (g.font * 7)));
  const step = [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120].find((n) => whole / n <= most) ?? 240;
  for (let at = 0; at <= whole + 1e-9; at += step) {
    const px = x(at / whole), under = g.chain + g.font * (s.pieces?.length ? 1.75 : 0.75), words = `${Number(at.toFixed(1))}${at === 0 ? " " + s.unit : ""}`;
    put(svg, "path", "notch", { d: `M${px} ${under}V${under + g.font * 0.25}` });
    put(svg, "text", "tick", { x: Math.max(g.font * 1.4, Math.min(g.wide - g.font, px)), y: under + g.font * 1.1, "font-size": g.font * 0.85 }, words);
  }
}

// where a second of the ride stands on the strip: on a course by its metres,
// in a session within its own step.
function where(s: Strip, t: Trace): number {
  if (s.kind === "course") return t.m / s.length;
  const p = s.kind === "session" ? (s.pieces ?? [])[t.i] : undefined;
  if (!p) return t.s / s.length;
  return p.from + Math.min(1, t.t / Math.max(1, (p.to - p.from) * s.length)) * (p.to - p.from);
}

function ridden(s: Strip, x: (n: number) => number, y: (w: number) => number): string {
  const trace = s.trace ?? [];
  const last = trace.length ? trace[trace.length - 1].s : 1;
  return trace.map((t, i) => `${i ? "L" : "M"}${x(s.kind === "free" ? t.s / last : where(s, t)).toFixed(1)} ${y(t.w).toFixed(1)}`).join("");
}

// moveStrip puts the rider where they are, and the line on to there.
export function moveStrip(svg: SVGSVGElement, s: Strip, at: number, cue: number, watts: number, riding: boolean): void {
  if (s.kind === "free") return;
  const g = shape(svg, s), x = across(g), y = up(g, s);
  svg.querySelector(".here")?.setAttribute("d", `M${x(at)} ${g.top}V${g.chain}`);
  const rider = svg.querySelector(".rider");
  rider?.setAttribute("cx", x(at).toFixed(1));
  rider?.setAttribute("cy", (s.kind === "course" && s.hill ? crest(s, g)(at) : y(Number.isNaN(watts) ? 0 : watts)).toFixed(1));
  for (const e of svg.querySelectorAll(".on")) e.classList.remove("on");
  for (const e of svg.querySelectorAll(`.bead.p${cue}, .no.p${cue}`)) e.classList.add("on");
  const line = svg.querySelector(".ridden");
  if (!line || !riding || Number.isNaN(watts)) return;
  const d = line.getAttribute("d") ?? "";
  const lastX = Number(/([\d.]+) [\d.]+$/.exec(d)?.[1] ?? -1);
  if (d === "") line.setAttribute("d", `M${x(at).toFixed(1)} ${y(watts).toFixed(1)}`);
  else if (x(at) - lastX >= 1) line.setAttribute("d", `${d}L${x(at).toFixed(1)} ${y(watts).toFixed(1)}`);
}
