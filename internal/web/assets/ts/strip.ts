// The strip of a ride: the same picture as the brief's. A course is a
// silhouette tinted by what is asked, the effort above it and never across it;
// a session is a corridor between two lines. Under it the chainline with its
// beads; over it, in the accent, what was ridden.
export interface Piece { from: number; to: number; watts: number; end: number; low: number; high: number; tint: number; name: string }
export interface Trace { s: number; m: number; w: number }
export interface Strip {
  kind: string; length: number; cp: number; most: number;
  hill?: [number, number][]; pieces: Piece[] | null; trace: Trace[] | null;
}

const wide = 1200, gap = 14;
const SVG = "http://www.w3.org/2000/svg";

interface Shape { high: number; top: number; low: number; hillTop: number; hillLow: number; chain: number; font: number }

function shape(svg: SVGSVGElement, s: Strip): Shape {
  const phone = svg.clientWidth < 560; // fewer, larger things
  const high = phone ? 620 : 300, font = phone ? 46 : 19;
  svg.setAttribute("viewBox", `0 0 ${wide} ${high}`);
  const chain = high - font * 1.9;
  const low = s.kind === "course" ? high * 0.42 : chain - 24;
  return { high, font, chain, top: 10, low, hillTop: low + gap, hillLow: chain - 16 };
}

const x = (share: number) => 8 + Math.max(0, Math.min(1, share)) * (wide - 16);

function put(svg: SVGElement, name: string, cls: string, attrs: Record<string, string | number>, text = ""): SVGElement {
  const e = document.createElementNS(SVG, name);
  e.setAttribute("class", cls);
  for (const [k, v] of Object.entries(attrs)) e.setAttribute(k, String(v));
  if (text) e.textContent = text;
  svg.append(e);
  return e;
}

export function drawStrip(svg: SVGSVGElement, s: Strip): void {
  svg.replaceChildren();
  const g = shape(svg, s), pieces = s.pieces ?? [];
  const y = (watts: number) => g.low - (Math.min(watts, s.most) / s.most) * (g.low - g.top);
  if (s.kind === "course" && s.hill) hill(svg, s, g, pieces);
  if (s.kind === "session") corridor(svg, pieces, y);
  if (s.kind !== "free") put(svg, "path", "critical", { d: `M${x(0)} ${y(s.cp)}H${x(1)}` });
  if (s.kind === "course" && pieces.length) {
    put(svg, "path", "effort", { d: pieces.map((p, i) => `${i ? "L" : "M"}${x(p.from)} ${y(p.watts)}H${x(p.to)}`).join("") });
  }
  put(svg, "path", "ridden", { d: "" });
  put(svg, "path", "chain", { d: `M${x(0)} ${g.chain}H${x(1)}` });
  beads(svg, pieces, g);
  put(svg, "path", "here", { d: "" });
  ridden(svg, s, y);
}

function hill(svg: SVGSVGElement, s: Strip, g: Shape, pieces: Piece[]): void {
  const points = s.hill ?? [];
  const low = Math.min(...points.map((p) => p[1])), most = Math.max(...points.map((p) => p[1]));
  const span = Math.max(30, most - low);
  const at = (e: number) => g.hillLow - 8 - ((e - low) / span) * (g.hillLow - 8 - g.hillTop);
  const height = (share: number): number => {
    let i = points.findIndex((p) => p[0] >= share);
    if (i <= 0) i = i < 0 ? points.length - 1 : 1;
    const [a, b] = [points[i - 1], points[i]];
    return a[1] + ((share - a[0]) / Math.max(1e-9, b[0] - a[0])) * (b[1] - a[1]);
  };
  for (const p of pieces) {
    const inside = points.filter((q) => q[0] > p.from && q[0] < p.to);
    const edge: [number, number][] = [[p.from, height(p.from)], ...inside, [p.to, height(p.to)]];
    const d = edge.map((q, i) => `${i ? "L" : "M"}${x(q[0]).toFixed(1)} ${at(q[1]).toFixed(1)}`).join("");
    put(svg, "path", "land k" + p.tint, { d: `${d}L${x(p.to)} ${g.hillLow}L${x(p.from)} ${g.hillLow}Z` });
  }
  put(svg, "path", "crest", { d: points.map((q, i) => `${i ? "L" : "M"}${x(q[0]).toFixed(1)} ${at(q[1]).toFixed(1)}`).join("") });
}

// A step is asked for between two lines; nothing is filled by how hard it is.
function corridor(svg: SVGSVGElement, pieces: Piece[], y: (w: number) => number): void {
  const rise = (p: Piece) => p.end - p.watts;
  const over = pieces.map((p, i) => `${i ? "L" : "M"}${x(p.from)} ${y(p.high)}L${x(p.to)} ${y(p.high + rise(p))}`).join("");
  const under = [...pieces].reverse().map((p) => `L${x(p.to)} ${y(Math.max(0, p.low + rise(p)))}L${x(p.from)} ${y(Math.max(0, p.low))}`).join("");
  put(svg, "path", "between", { d: over + under + "Z" });
  put(svg, "path", "edge", { d: over });
  put(svg, "path", "edge", { d: pieces.map((p, i) => `${i ? "L" : "M"}${x(p.from)} ${y(Math.max(0, p.low))}L${x(p.to)} ${y(Math.max(0, p.low + rise(p)))}`).join("") });
}

// Beads, and the watts between those that have room: numbers drop first.
function beads(svg: SVGSVGElement, pieces: Piece[], g: Shape): void {
  let last = -1e9, lastText = -1e9;
  const r = g.font * 0.5;
  pieces.forEach((p, i) => {
    const at = x(p.from);
    const next = i + 1 < pieces.length ? x(pieces[i + 1].from) : wide;
    if (i > 0 && (at - last < 2 * r + 3 || next - at < 2 * r)) {
      put(svg, "circle", "dot", { cx: at, cy: g.chain, r: r * 0.35 });
    } else {
      put(svg, "circle", "bead", { cx: Math.max(r + 1, at), cy: g.chain, r });
      put(svg, "text", "no", { x: Math.max(r + 1, at), y: g.chain + g.font * 0.3, "font-size": g.font * 0.8 }, String(i + 1));
      last = at;
    }
    const middle = (x(p.from) + x(p.to)) / 2, room = g.font * 2.1;
    if (p.watts > 0 && x(p.to) - x(p.from) > room && middle - lastText > room) {
      put(svg, "text", "asked", { x: middle, y: g.chain + g.font * 1.5, "font-size": g.font }, String(Math.round(p.watts)));
      lastText = middle;
    }
  });
}

function ridden(svg: SVGSVGElement, s: Strip, y: (w: number) => number): void {
  const points = s.trace ?? [];
  const line = svg.querySelector(".ridden");
  if (!line || points.length === 0) return;
  const share = (t: Trace) => (s.kind === "course" ? t.m : t.s) / s.length;
  line.setAttribute("d", points.map((t, i) => `${i ? "L" : "M"}${x(share(t)).toFixed(1)} ${y(t.w).toFixed(1)}`).join(""));
}

// moveStrip puts the rider where they are, and the line on to there.
export function moveStrip(svg: SVGSVGElement, s: Strip, at: number, watts: number, riding: boolean): void {
  const g = shape(svg, s);
  const y = (w: number) => g.low - (Math.min(w, s.most) / s.most) * (g.low - g.top);
  svg.querySelector(".here")?.setAttribute("d", `M${x(at)} ${g.top}V${g.chain}`);
  const line = svg.querySelector(".ridden");
  if (!line || !riding || Number.isNaN(watts)) return;
  const d = line.getAttribute("d") ?? "";
  const next = `${x(at).toFixed(1)} ${y(watts).toFixed(1)}`;
  const lastX = Number(/([\d.]+) [\d.]+$/.exec(d)?.[1] ?? -1);
  if (d === "") line.setAttribute("d", "M" + next);
  else if (x(at) - lastX >= 1) line.setAttribute("d", d + "L" + next);
}
