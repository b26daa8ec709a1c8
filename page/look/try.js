"use strict";
// Asks the program what becomes of the balance as sliders move, one question at a time.
(() => {
  const form = document.getElementById("try");
  let asking = false, again = false;

  const bar = (length) => {
    const box = document.createElement("span"), b = document.createElement("span");
    box.className = "bars";
    b.className = "bar";
    b.style.width = Math.abs(length) * 50 + "%";
    b.style[length < 0 ? "right" : "left"] = "50%";
    box.append(b);
    return box;
  };
  const row = (s) => {
    const tr = document.createElement("tr");
    [s.number, s.note, s.balance, null, s.pole, s.height, s.most].forEach((text, i) => {
      const c = document.createElement(i === 0 ? "th" : "td");
      if (i === 0) c.scope = "row";
      if ([2, 4, 5].includes(i)) c.className = "figure";
      if (text === null) c.append(bar(s.bar)); else c.textContent = text;
      tr.append(c);
    });
    return tr;
  };
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
          document.getElementById("strings").replaceChildren(...said.strings.map(row));
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
    if (shown) shown.textContent = Number(e.target.value).toFixed(2);
    ask();
  });
  form.addEventListener("submit", (e) => e.preventDefault());
  ask();
})();
