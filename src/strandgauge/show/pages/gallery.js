"use strict";
/* Sorting and filtering of the gallery. Everything is in the page without this; it only reads data attributes. */
(() => {
  const list = document.getElementById("cards");
  const form = document.getElementById("controls");
  const count = document.getElementById("count");
  const all = count.textContent;
  const field = form.elements;
  const asNumber = (text) => (text === undefined || text === "" ? NaN : Number(text));

  const cards = Array.from(list.children, (element, place) => {
    const data = element.dataset;
    return {
      element,
      place,
      name: data.name,
      text: [data.name, data.client, data.group].join("\n").toLocaleLowerCase(),
      level: asNumber(data.level),
      range: asNumber(data.range),
      chroma: asNumber(data.chroma),
      rank: asNumber(data.rank),
      time: asNumber(data.time),
      state: data.state,
      evenness: data.evenness,
      warmth: data.warmth,
      verdict: data.verdict,
      group: data.group,
      shown: true,
    };
  });
  const collator = new Intl.Collator(undefined, { numeric: true, sensitivity: "base" });
  cards.slice().sort((a, b) => collator.compare(a.name, b.name) || a.place - b.place)
    .forEach((card, i) => { card.alphabetical = i; });

  /* What has no such value, as a refused photo has no level, comes last in either direction. */
  const by = (key, sign) => (a, b) => {
    const x = a[key], y = b[key];
    if (Number.isNaN(x) || Number.isNaN(y)) return Number.isNaN(x) - Number.isNaN(y) || a.alphabetical - b.alphabetical;
    return sign * (x - y) || a.alphabetical - b.alphabetical;
  };
  const orders = {
    "listed": by("place", 1),
    "name": by("alphabetical", 1),
    "level-up": by("level", 1),
    "level-down": by("level", -1),
    "even-up": by("range", 1),
    "even-down": by("range", -1),
    "warm-up": by("chroma", 1),
    "warm-down": by("chroma", -1),
    "verdict": by("rank", 1),
    "time": by("time", 1),
  };

  const sheets = document.querySelectorAll("section[data-group]");
  let order = "listed";
  const apply = () => {
    const search = field.search.value.trim().toLocaleLowerCase();
    const from = asNumber(field.from.value), to = asNumber(field.to.value);
    const wanted = ["group", "evenness", "warmth", "verdict", "state"]
      .filter((key) => field[key] && field[key].value !== "")
      .map((key) => [key, field[key].value]);
    let shown = 0;
    for (const card of cards) {
      const fits = (search === "" || card.text.includes(search))
        && (Number.isNaN(from) || card.level >= from)
        && (Number.isNaN(to) || card.level <= to)
        && wanted.every(([key, value]) => card[key] === value);
      if (fits !== card.shown) {
        card.shown = fits;
        card.element.hidden = !fits;
      }
      if (fits) shown += 1;
    }
    const group = field.group ? field.group.value : "";
    for (const sheet of sheets) sheet.hidden = group !== "" && sheet.dataset.group !== group;
    if (field.sort.value !== order) {
      order = field.sort.value;
      list.replaceChildren(...cards.slice().sort(orders[order]).map((card) => card.element));
    }
    count.textContent = shown === 0 ? count.dataset.none
      : shown === cards.length ? all
      : count.dataset.some.replace("#", shown);
  };

  const reveal = () => {
    const card = /^#photo-\d+$/.test(location.hash) && document.getElementById(location.hash.slice(1));
    if (card && card.hidden) {
      form.reset();
      apply();
      card.scrollIntoView();
    }
  };

  /* A strand opens as large as the screen, with what its card says of it. */
  const large = document.getElementById("large");
  list.addEventListener("click", (event) => {
    const button = event.target.closest(".enlarge");
    if (!button) return;
    const said = (part) => button.parentElement.querySelector(part)?.innerText.replaceAll("\n", " \u00b7 ") ?? "";
    large.querySelector("img")?.remove();
    large.append(button.querySelector("img").cloneNode());
    large.querySelector("p").textContent = ["h3", ".level", ".zones"].map(said).filter(Boolean).join("\n");
    large.showModal();
  });
  large.addEventListener("click", (event) => { if (event.target === large) large.close(); });

  form.addEventListener("input", apply);
  form.addEventListener("change", apply);
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("reset", () => setTimeout(apply));
  window.addEventListener("hashchange", reveal);
  document.getElementById("filters").open = matchMedia("(min-width: 40rem)").matches;
  form.hidden = false;
  apply();
})();
