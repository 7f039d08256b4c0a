// told says what came of a form that does not leave its page: what was done in
// the page's own line, what is wrong beside the field it was typed into. The
// field then has the focus, and keeps what was typed.
export function told(page: ParentNode, form: HTMLFormElement | undefined, why: string, done: string): void {
  const says = page.querySelector<HTMLElement>("[data-answer]");
  const field = form?.querySelector<HTMLInputElement>("input:not([type=hidden])");
  const id = field ? field.id + "-error" : "";
  if (form && field) {
    form.querySelector(".error")?.remove();
    field.removeAttribute("aria-invalid");
    field.removeAttribute("aria-describedby");
  }
  if (says) says.textContent = why && field ? "" : why || done;
  if (!why || !form || !field) return;
  const error = form.ownerDocument.createElement("p");
  error.id = id;
  error.className = "error";
  error.textContent = why;
  form.append(error);
  field.setAttribute("aria-invalid", "true");
  field.setAttribute("aria-describedby", id);
  field.focus();
}

// unheard is said where a form's answer did not come.
export const unheard = "That did not reach the program. Try again.";
