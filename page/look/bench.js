// Shows the bench as events tell of it, and lets keys press its buttons. All figures come
// as text; nothing is worked out here.
import { bar, row } from "/look/parts.js";
import "/look/write.js"; // the mount is checked as it is typed

(() => {
  const get = (id) => document.getElementById(id);
  const put = (id, text) => { const e = get(id); if (e.textContent !== text) e.textContent = text; };

  const rowOf = (s) => row([s.number, s.note, s.takes, s.balance, bar(s.bar), s.level, s.within, s.quiet, s.pitch], [2, 3, 5, 6, 7]);

  const item = (t) => {
    const li = document.createElement("li");
    li.dataset.kept = t.kept;
    li.textContent = t.string + ": " + t.level + ", " + t.words;
    return li;
  };

  const show = (b) => {
    get("state").dataset.state = b.state;
    put("state-words", b.state);
    put("words", b.words);
    put("next", b.next);
    put("next-note", b.next_note);
    put("left", b.left);
    put("about", b.about);
    get("strings").replaceChildren(...(b.strings || []).map(rowOf));
    get("takes").replaceChildren(...(b.takes || []).map(item));
    get("pause").hidden = b.can !== "pause";
    get("go-on").hidden = b.can !== "go-on";
    get("take-back").hidden = !b.held;
    get("take-over").hidden = !b.held || b.yours;
    for (const id of ["pause", "go-on"]) get(id).querySelector("button").disabled = !b.yours;
    get("take-back").querySelector("button").disabled = !(b.yours && b.back);
  };

  // Buttons act without loading the page again, so that the keyboard's place stays.
  for (const id of ["pause", "go-on", "take-back", "take-over"]) {
    get(id).addEventListener("submit", async (e) => {
      e.preventDefault();
      try {
        const r = await fetch(e.target.action, { method: "POST", headers: { "Content-Type": "application/x-www-form-urlencoded" }, redirect: "manual" });
        if (r.type !== "opaqueredirect" && !r.ok) put("words", new DOMParser().parseFromString(await r.text(), "text/html").querySelector("main p, body")?.textContent.trim() || "refused");
      } catch { put("words", "the program does not answer: is 'evenpole page' still running?"); }
    });
  }

  let audio = null;
  const beep = (hz, ms) => {
    if (!get("sounds").checked) return;
    audio = audio || new AudioContext();
    const o = audio.createOscillator(), g = audio.createGain();
    o.frequency.value = hz;
    g.gain.value = 0.1;
    o.connect(g).connect(audio.destination);
    o.start();
    o.stop(audio.currentTime + ms / 1000);
  };
  let before = null;
  const sound = (b) => {
    const t = (b.takes || [])[0], last = before && (before.takes || [])[0];
    if (before && b.state === "complete" && before.state !== "complete") beep(1320, 600);
    else if (before && t && JSON.stringify(t) !== JSON.stringify(last)) beep(t.kept ? 880 : 220, t.kept ? 80 : 400);
    before = b;
  };

  const events = new EventSource(get("bench").dataset.events);
  events.onmessage = (e) => { const b = JSON.parse(e.data); show(b); sound(b); };
  events.onerror = () => put("words", "the program does not answer: is 'evenpole page' still running?");

  for (const id of ["keys", "sounds"]) {
    get(id).checked = localStorage.getItem(id) === "on";
    get(id).addEventListener("change", (e) => localStorage.setItem(id, e.target.checked ? "on" : "off"));
  }
  get("keys").addEventListener("change", (e) => { if (e.target.checked) get("main").focus(); }); // so that space is no more the tick's
  document.addEventListener("keydown", (e) => {
    if (!get("keys").checked || e.ctrlKey || e.altKey || e.metaKey || e.repeat || e.target.closest("input:not([type=checkbox]), select, textarea")) return;
    if (e.key === " " && e.target.closest("input, button, a, summary")) return; // it has a use of its own there
    const press = (id) => { const f = get(id), b = f.querySelector("button"); if (!f.hidden && !b.disabled) b.click(); };
    if (e.key === " " || e.key === "PageDown") { e.preventDefault(); press("pause"); press("go-on"); }
    if (e.key === "Backspace") { e.preventDefault(); press("take-back"); }
  });
})();
