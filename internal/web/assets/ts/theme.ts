// A select with data-submit sends its form when it changes; its button is
// then not needed.
export function theme(root: Document): void {
  for (const select of root.querySelectorAll<HTMLSelectElement>("select[data-submit]")) {
    const form = select.form;
    if (!form) continue;
    form.querySelector("button")?.setAttribute("hidden", "");
    select.addEventListener("change", () => form.requestSubmit());
  }
}
