// A second click on a button that has just sent its form is not a second
// wish. The form can be sent again a moment later, since some answers leave
// the page where it is.
const patience = 1500; // ms

export function once(root: Document): void {
  const sent = new WeakSet<HTMLFormElement>();
  root.addEventListener("submit", (e) => {
    const form = e.target;
    if (e.defaultPrevented || !(form instanceof HTMLFormElement) || form.method !== "post") return;
    if (sent.has(form)) {
      e.preventDefault();
      return;
    }
    sent.add(form);
    setTimeout(() => sent.delete(form), patience);
  });
}
