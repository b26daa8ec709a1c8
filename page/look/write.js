// Has an order or a mount checked as it is typed, by the program, and shows what it says beside the
// field that it is about.
(() => {
  const form = document.getElementById("write");
  let timer = 0, asked = 0, at = null;
  const mark = (path, words) => {
    if (at) { at.removeAttribute("aria-invalid"); document.getElementById(at.id + "-trouble").textContent = ""; }
    at = path ? document.getElementById(path) : null;
    if (at) { at.setAttribute("aria-invalid", "true"); document.getElementById(path + "-trouble").textContent = words; }
  };
  const check = async () => {
    const turn = ++asked;
    const r = await fetch(form.dataset.check, { method: "POST", body: new URLSearchParams(new FormData(form)) });
    if (!r.ok || turn !== asked) return;
    const said = await r.json();
    document.getElementById("trouble").textContent = said.trouble;
    document.getElementById("fine").textContent = said.fine;
    mark(said.at, said.trouble);
  };
  form.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(check, 300); });
  at = form.querySelector("[aria-invalid]");
  if (document.getElementById("text")?.value) check(); // empty fields are not wrong yet
})();
