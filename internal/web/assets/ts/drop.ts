// A form with data-drop takes a file dropped on it into its file input and
// sends itself. The input stays: it is the way by keyboard.
export function drop(root: Document): void {
  for (const form of root.querySelectorAll<HTMLFormElement>("form[data-drop]")) {
    const input = form.querySelector<HTMLInputElement>("input[type=file]");
    if (!input) continue;
    const over = (on: boolean) => form.classList.toggle("over", on);
    form.addEventListener("dragover", (e) => {
      e.preventDefault();
      over(true);
    });
    form.addEventListener("dragleave", () => over(false));
    form.addEventListener("drop", (e) => {
      e.preventDefault();
      over(false);
      const files = e.dataTransfer?.files;
      if (!files || files.length === 0) return;
      input.files = files;
      form.requestSubmit();
    });
  }
  // A file dropped beside the form must not replace the page.
  if (root.querySelector("form[data-drop]")) {
    for (const kind of ["dragover", "drop"]) root.addEventListener(kind, (e) => e.preventDefault());
  }
}
