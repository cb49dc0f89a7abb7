// The round: a visit is dragged to another day or to a day of another keeper, or moved by keys. What that costs is said before anything is kept, and
// keeping it sends the same form as without this.
"use strict";
{
  const chart = document.querySelector("table.round");
  const change = document.getElementById("change");
  const open = () => {
    const at = location.hash && document.getElementById(location.hash.slice(1));
    if (at instanceof HTMLDetailsElement) at.open = true;
  };
  addEventListener("hashchange", open);
  open();
  if (chart && change) moving(chart, change);

  // A plan that is being made: its page is shown when it is there.
  const progress = document.getElementById("progress");
  if (progress) setInterval(async () => {
    try {
      const answer = await fetch(progress.dataset.progress);
      const text = await answer.text();
      if (!answer.ok) return;
      if (text) progress.textContent = text; else location.reload();
    } catch { /* The next try may reach the server. */ }
  }, 1000);
}

// So near to the edge of what is seen, in px, a drag brings more of the page.
const EDGE = 40;

function moving(chart, change) {
  const heads = [...chart.querySelectorAll("thead th[data-day]")];
  const keepers = chart.dataset.keepers ? chart.dataset.keepers.split("\n") : [];
  const said = document.getElementById("change-said");
  const form = change.querySelector("form");
  let proposed = null; // { chip, day, keeper }: where a visit would go; day is a place among the heads.
  let asking = null;

  const dayOf = (chip) => heads.findIndex((head) => head.dataset.day === chip.dataset.day);
  const keeperOf = (chip) => keepers.find((name) => name.toLowerCase() === chip.dataset.keeper.toLowerCase()) ?? keepers[0];
  const shift = (chip, day) => heads[day].offsetLeft - heads[dayOf(chip)].offsetLeft;
  const rows = [...chart.querySelectorAll("tr[data-keeper]")];

  function aim(chip, day, keeper) {
    chart.querySelectorAll(".aim").forEach((cell) => cell.classList.remove("aim"));
    if (!chip) return;
    for (const row of [chip.closest("tr"), rows.find((row) => row.dataset.keeper === keeper)]) row?.cells[day + 1].classList.add("aim");
  }

  function leave() {
    if (!proposed) return;
    const { chip } = proposed;
    chip.style.transform = "";
    chip.querySelector(".who").textContent = chip.dataset.keeper;
    chip.classList.remove("proposed");
    asking?.abort();
    proposed = null;
    aim(null);
    change.hidden = true;
  }

  function propose(chip, day, keeper) {
    if (proposed && proposed.chip !== chip) leave();
    proposed = { chip, day, keeper };
    const stays = day === dayOf(chip) && keeper.toLowerCase() === chip.dataset.keeper.toLowerCase();
    if (stays) return leave();
    chip.classList.add("proposed");
    chip.style.transform = `translateX(${shift(chip, day)}px)`;
    show(proposed);
  }

  // A visit where it would go, with what that costs.
  function show({ chip, day, keeper }) {
    chip.querySelector(".who").textContent = keeper;
    aim(chip, day, keeper);
    change.hidden = false;
    ask();
  }

  async function ask() {
    asking?.abort();
    const mine = asking = new AbortController();
    const { chip, day, keeper } = proposed;
    const what = `${chip.dataset.machine}, ${heads[day].dataset.name}, ${keeper}: `;
    const query = new URLSearchParams({ visit: chip.dataset.visit, day: heads[day].dataset.day, keeper });
    const wait = (time) => new Promise((done) => setTimeout(done, time));
    said.textContent = `${what}being reckoned.`;
    // Keys that are held down ask once, when they rest.
    await wait(100);
    while (!mine.signal.aborted) {
      try {
        const answer = await fetch(`/rounds/price?${query}`, { signal: mine.signal });
        const text = await answer.text();
        if (mine.signal.aborted) return;
        said.textContent = what + text;
        form.querySelector("button").disabled = answer.status === 422;
        if (answer.status !== 202) return;
      } catch {
        if (!mine.signal.aborted) said.textContent = what + "The server does not answer.";
        return;
      }
      await wait(700);
    }
  }

  function keep() {
    const { chip, day, keeper } = proposed;
    form.action = `/rounds/visits/${chip.dataset.visit}/move`;
    form.elements.day.value = heads[day].dataset.day;
    form.elements.keeper.value = keeper;
    form.submit();
  }

  form.addEventListener("submit", (event) => { event.preventDefault(); if (proposed) keep(); });
  form.querySelector("button[type=button]").addEventListener("click", () => { const chip = proposed?.chip; leave(); chip?.focus(); });

  chart.addEventListener("keydown", (event) => {
    const chip = event.target.closest(".visit");
    if (!chip || event.altKey || event.ctrlKey || event.metaKey) return;
    const now = proposed?.chip === chip ? proposed : { day: dayOf(chip), keeper: keeperOf(chip) };
    const within = (place, list) => Math.min(Math.max(place, 0), list.length - 1);
    const toDay = (step) => propose(chip, within(now.day + step, heads), now.keeper);
    const toKeeper = (step) => propose(chip, now.day, keepers[within(keepers.indexOf(now.keeper) + step, keepers)]);
    switch (event.key) {
      case "ArrowLeft": toDay(-1); break;
      case "ArrowRight": toDay(1); break;
      case "ArrowUp": toKeeper(-1); break;
      case "ArrowDown": toKeeper(1); break;
      case "Escape": leave(); break;
      case "l": case "L": document.querySelector(`form[action="/rounds/visits/${chip.dataset.visit}/${chip.classList.contains("locked") ? "free" : "lock"}"]`)?.requestSubmit(); break;
      case "Enter": if (!proposed || form.querySelector("button").disabled) return; keep(); break;
      default: return;
    }
    event.preventDefault();
    chip.scrollIntoView({ block: "nearest", inline: "nearest" });
  });

  chart.addEventListener("pointerdown", (event) => {
    const chip = event.target.closest(".visit");
    if (!chip || event.button !== 0) return;
    if (proposed && proposed.chip !== chip) leave();
    const start = { x: event.pageX, y: event.pageY }, base = proposed ? shift(chip, proposed.day) : 0;
    let dragged = false, day = proposed?.day ?? dayOf(chip), keeper = proposed?.keeper ?? keeperOf(chip);
    chip.setPointerCapture(event.pointerId);
    const move = (event) => {
      const by = { x: event.pageX - start.x, y: event.pageY - start.y };
      if (!dragged && Math.hypot(by.x, by.y) < 6) return;
      dragged = true;
      chip.classList.add("dragged");
      // The keepers may be below what is seen.
      if (event.clientY < EDGE) scrollBy(0, -EDGE);
      else if (innerHeight - EDGE < event.clientY) scrollBy(0, EDGE);
      chip.style.transform = `translate(${base + by.x}px, ${by.y}px)`;
      const over = heads.findIndex((head) => {
        const { left, right } = head.getBoundingClientRect();
        return left <= event.clientX && event.clientX < right;
      });
      const row = rows.find((row) => {
        const { top, bottom } = row.getBoundingClientRect();
        return top <= event.clientY && event.clientY < bottom;
      });
      const now = { day: over < 0 ? day : over, keeper: row?.dataset.keeper ?? keeper };
      if (now.day === day && now.keeper === keeper) return;
      ({ day, keeper } = now);
      proposed = { chip, day, keeper };
      show(proposed);
    };
    const end = (event) => {
      chip.removeEventListener("pointermove", move);
      for (const name of ["pointerup", "pointercancel"]) chip.removeEventListener(name, end);
      chip.classList.remove("dragged");
      if (!dragged) return;
      // The press that ends a drag follows no link.
      chip.addEventListener("click", (click) => click.preventDefault(), { once: true, capture: true });
      setTimeout(() => chip.focus({ preventScroll: true }));
      if (event.type === "pointerup") propose(chip, day, keeper);
      else { proposed = { chip }; leave(); }
    };
    chip.addEventListener("pointermove", move);
    for (const name of ["pointerup", "pointercancel"]) chip.addEventListener(name, end);
  });
}
