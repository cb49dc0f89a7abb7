// Pages work without this. It makes them quicker.
"use strict";

// What was refused is read out and seen first.
document.querySelector(".trouble")?.focus();

// A file dropped on a form goes into its field for files.
for (const field of document.querySelectorAll("input[data-drop]")) {
  const form = field.form;
  const over = (is) => (event) => { event.preventDefault(); form.classList.toggle("over", is); };
  form.addEventListener("dragover", over(true));
  form.addEventListener("dragleave", over(false));
  form.addEventListener("drop", (event) => {
    over(false)(event);
    if (event.dataTransfer.files.length) field.files = event.dataTransfer.files;
  });
}

// When somebody else recorded something it is offered, and nothing is taken away from under the reader's hands. Only the page
// that is looked at listens: a browser has few connections for each server. A visit's page keeps itself up to date, and its button for
// what is done stands where the offer would.
if (document.querySelector("header nav") && !document.getElementById("visit") && "EventSource" in window) {
  let events = null;
  const offer = () => {
    events.close();
    const note = document.createElement("p");
    note.className = "news";
    note.setAttribute("role", "status");
    const again = document.createElement("a");
    again.href = location.href;
    again.textContent = "Show it";
    note.append("Something was recorded since this page was made. ", again, ".");
    document.body.append(note);
    document.removeEventListener("visibilitychange", listen);
  };
  const listen = () => {
    events?.close();
    if (document.hidden) return;
    events = new EventSource("/api/events");
    events.addEventListener("news", offer);
  };
  document.addEventListener("visibilitychange", listen);
  window.addEventListener("pagehide", () => events?.close());
  listen();
}

// What is wrong in a build's text is shown where it stands.
for (const link of document.querySelectorAll("a[data-line]")) {
  link.addEventListener("click", (event) => {
    const text = document.getElementById("build-text");
    const lines = text.value.split("\n");
    const at = Number(link.dataset.line) - 1;
    const start = lines.slice(0, at).reduce((sum, line) => sum + line.length + 1, 0);
    event.preventDefault();
    text.focus();
    text.setSelectionRange(start, start + (lines[at] ?? "").length);
    text.scrollTop = (at - 3) * text.scrollHeight / lines.length;
  });
}
