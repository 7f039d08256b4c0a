// A button with data-print prints the page it is on. Without this script the
// button stays hidden: the browser's own way is there.
export function print(root: Document): void {
  for (const button of root.querySelectorAll<HTMLButtonElement>("button[data-print]")) {
    button.hidden = false;
    button.addEventListener("click", () => window.print());
  }
}
