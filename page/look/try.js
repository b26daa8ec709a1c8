// Asks the program what becomes of the balance as sliders move, one question at a time.
import { bar, row } from "/look/parts.js";

(() => {
  const form = document.getElementById("try");
  let asking = false, again = false;

  const rowOf = (s) => row([s.number, s.note, s.balance, bar(s.bar), s.pole, s.height, s.most], [2, 4, 5], [6]);
  const item = (text) => { const li = document.createElement("li"); li.textContent = text; return li; };

  const ask = async () => {
    if (asking) { again = true; return; }
    asking = true;
    try {
      const r = await fetch(form.dataset.ask + "?" + new URLSearchParams(new FormData(form)));
      if (r.ok) {
        const said = await r.json();
        document.getElementById("trouble").textContent = said.trouble;
        if (!said.trouble) {
          document.getElementById("strings").replaceChildren(...said.strings.map(rowOf));
          document.getElementById("words").replaceChildren(...(said.words || []).map(item));
        }
      }
    } finally {
      asking = false;
      if (again) { again = false; ask(); }
    }
  };
  form.addEventListener("input", (e) => {
    const shown = form.querySelector('output[for="' + e.target.id + '"]');
    if (shown) shown.textContent = e.target.value;
    ask();
  });
  ask();
})();
