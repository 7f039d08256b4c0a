// Short sounds, off by a switch that is remembered. A browser lets no page
// sound before somebody touched it; until then the switch says so.
export class Sound {
  private context: AudioContext | undefined;
  private on = true;
  private last = 0;

  constructor(private button: HTMLButtonElement | null) {
    try {
      this.on = localStorage.getItem("sounds") !== "off";
    } catch {
      this.on = true; // a browser that remembers nothing
    }
    if (!button || typeof AudioContext === "undefined") return;
    button.hidden = false;
    button.addEventListener("click", () => this.toggle());
    this.say();
    for (const kind of ["keydown", "pointerdown"]) document.addEventListener(kind, () => this.open());
  }

  toggle(): void {
    this.on = !this.on;
    try {
      localStorage.setItem("sounds", this.on ? "on" : "off");
    } catch {
      // remembered until the page goes
    }
    this.say();
    if (this.on) this.cue();
  }

  tick(): void { this.beep([660], 0.07); }
  cue(): void { this.beep([660, 880], 0.14); }
  notice(): void { this.beep([520], 0.12); }

  // urgent goes on for as long as it is asked for, at most every two seconds.
  urgent(): void {
    const now = this.context?.currentTime ?? 0;
    if (now - this.last < 2 && this.last > 0) return;
    this.last = now;
    this.beep([880, 440, 880, 440], 0.18);
  }

  private say(): void {
    this.button?.setAttribute("aria-pressed", String(this.on));
    const kbd = this.button?.querySelector("kbd");
    const waits = this.on && this.context?.state !== "running";
    if (this.button && kbd) this.button.replaceChildren(!this.on ? "Sounds off " : waits ? "Sounds wait for a touch " : "Sounds on ", kbd);
  }

  private open(): void {
    if (!this.context) {
      this.context = new AudioContext();
      this.context.addEventListener("statechange", () => this.say());
    }
    if (this.context.state === "suspended") void this.context.resume();
    this.say();
  }

  private beep(tones: number[], each: number): void {
    const c = this.context;
    if (!this.on || !c || c.state !== "running") return;
    tones.forEach((hertz, i) => {
      const tone = c.createOscillator(), loud = c.createGain(), at = c.currentTime + i * each;
      tone.frequency.value = hertz;
      loud.gain.setValueAtTime(0.0001, at);
      loud.gain.exponentialRampToValueAtTime(0.3, at + 0.02);
      loud.gain.exponentialRampToValueAtTime(0.0001, at + each);
      tone.connect(loud).connect(c.destination);
      tone.start(at);
      tone.stop(at + each);
    });
  }
}
